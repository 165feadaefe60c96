"""Reading identification, as an act of its own: it never counts in the overall word."""

from __future__ import annotations

from talk import SOFTWARE, ask, everybody, gap, heard, module, read, tester, word_of, words


def test_a_value_read_again_with_the_same_bytes_is_confirmed() -> None:
    report = heard(read("F188", SOFTWARE), ask("10 03", "50 03 0032 01F4"), read("F188", SOFTWARE))
    assert words(report, "identity") == ["confirmed", "confirmed"]


def test_a_value_read_once_is_not_proven() -> None:
    assert word_of(heard(read("F188", SOFTWARE)), "identity")[0] == "unproven"


def test_a_value_read_again_with_other_bytes_is_not_proven() -> None:
    report = heard(read("F188", SOFTWARE), ask("10 03", "50 03 0032 01F4"), read("F188", b"PCU-SW-1207"))
    assert words(report, "identity") == ["unproven", "unproven"]


def test_all_refused_is_a_failure() -> None:
    report = heard(read("3A01", "41"), ask("22 F188", "7F 22 31"))
    assert word_of(report, "identity")[0] == "failed"


def test_no_answer_is_interrupted() -> None:
    assert word_of(heard(read("3A01", "41"), tester("22 F188"), gap(6)), "identity")[0] == "interrupted"


def test_reads_in_a_row_are_one_visit_and_tester_present_does_not_end_it() -> None:
    report = heard(read("F188", SOFTWARE), everybody("3E 80"), ask("3E 00", "7E 00"), read("F189", "41"))
    assert words(report, "identity") == ["unproven"]


def test_reading_alone_attempts_nothing() -> None:
    report = heard(read("F188", SOFTWARE), ask("22 F189", "7F 22 31"), module("62 1234 00"))
    assert not report.verdict.attempted
    assert report.verdict.overall == "not-shown"
