"""Writes by address (3D): the same five words as writes by identifier. ISO 14229-1:2020, 11.8 (M)."""

from __future__ import annotations

import pytest
from talk import ask, gap, heard, only, read, reset, tester, word_of

from analysis.operations.model import Part

PLACE = "24 00 02 00 10 00 04"
NEW, OLD = "01 26 40 31", "FF FF FF FF"
BEFORE = [ask("10 03", "50 03 0032 01F4"), ask("27 01", "67 01 1234"), ask("27 02 ABCD", "67 02")]


def write_at(value: str = NEW, place: str = PLACE) -> object:
    return ask(f"3D {place} {value}", f"7D {place}")


def read_at(value: str, place: str = PLACE) -> object:
    return ask(f"23 {place}", f"63 {value}")


def test_memory_read_back_after_the_restart_is_confirmed_high() -> None:
    report = heard(BEFORE, read_at(OLD), write_at(), reset(), read_at(NEW))
    assert word_of(report, "write-memory") == ("confirmed", "high")
    details = only(report, "write-memory").details
    assert details == {
        "address": "00020010", "size": 4, "before": "FFFFFFFF", "written": "01264031", "read_back": "01264031",
        "after_power_cycle": True,
    }  # fmt: skip
    assert report.verdict.parts[Part.TRIMS].word == "confirmed"


def test_memory_read_back_in_the_same_power_cycle_is_confirmed_medium() -> None:
    assert word_of(heard(BEFORE, write_at(), read_at(NEW)), "write-memory") == ("confirmed", "medium")


def test_a_positive_answer_alone_proves_nothing() -> None:
    report = heard(BEFORE, write_at(), gap(1), read("F190", "41"))
    assert word_of(report, "write-memory") == ("unproven", "high")
    assert "00020010" in only(report, "write-memory").outcome.would_change


def test_several_reads_that_cover_the_memory_together_prove_it() -> None:
    first, second = "24 00 02 00 10 00 02", "24 00 02 00 12 00 02"
    report = heard(BEFORE, write_at(), read_at("01 26", first), read_at("40 31", second))
    assert word_of(report, "write-memory") == ("confirmed", "medium")


def test_a_read_of_a_part_does_not_prove_the_whole() -> None:
    report = heard(BEFORE, write_at(), read_at("01 26", "24 00 02 00 10 00 02"))
    assert word_of(report, "write-memory")[0] == "unproven"


def test_a_wider_read_that_holds_the_bytes_proves_them() -> None:
    report = heard(BEFORE, write_at(), read_at("AA 01 26 40 31 BB", "24 00 02 00 0F 00 06"))
    assert word_of(report, "write-memory") == ("confirmed", "medium")


@pytest.mark.parametrize("place", ["24 00 02 00 10 00 04", "24 00 02 00 12 00 01"])
def test_memory_that_reads_differently_is_failed(place: str) -> None:
    value = "01 26 41 31" if place.endswith("04") else "41"
    assert word_of(heard(BEFORE, write_at(), read_at(value, place)), "write-memory")[0] == "failed"


def test_a_refused_write_is_failed_and_one_without_an_answer_is_interrupted() -> None:
    assert word_of(heard(BEFORE, ask(f"3D {PLACE} {NEW}", "7F 3D 31")), "write-memory")[0] == "failed"
    assert word_of(heard(BEFORE, ask(f"3D {PLACE} {NEW}"), gap(9)), "write-memory")[0] == "interrupted"


def test_a_value_that_stood_there_before_is_not_proven() -> None:
    report = heard(BEFORE, read_at(NEW), write_at(), reset(), read_at(NEW))
    assert word_of(report, "write-memory") == ("unproven", "high")


def test_a_second_write_over_it_takes_the_readings_behind_it() -> None:
    report = heard(BEFORE, write_at(), write_at(OLD), read_at(OLD))
    by_number = [item for item in report.operations if item.kind == "write-memory"]
    assert [item.outcome.word for item in by_number] == ["unproven", "confirmed"]
    assert by_number[0].superseded_by == by_number[1].number


def test_a_write_of_a_part_of_the_memory_leaves_the_rest_to_be_proved() -> None:
    """What overlaps is written again: a read behind both tells of the later one only where they overlap."""
    report = heard(BEFORE, write_at(), write_at("99", "24 00 02 00 11 00 01"), read_at("01 99 40 31"))
    assert [item.outcome.word for item in report.operations if item.kind == "write-memory"] == ["unproven", "confirmed"]


def test_a_read_only_before_the_restart_is_not_proven() -> None:
    report = heard(BEFORE, write_at(), read_at(NEW), reset(), read("F190", "41"))
    assert word_of(report, "write-memory") == ("unproven", "high")


def test_an_answer_for_another_place_is_none() -> None:
    other = "24 00 02 00 20 00 04"
    report = heard(BEFORE, ask(f"3D {PLACE} {NEW}", f"7D {other}"), read_at(NEW))
    assert word_of(report, "write-memory")[0] == "interrupted"


def test_a_byte_that_read_differently_is_not_forgotten_when_others_are_read_right() -> None:
    rest = "24 00 02 00 12 00 02"
    report = heard(BEFORE, write_at(), read_at("01 27 40 31"), read_at("40 31", rest))
    assert word_of(report, "write-memory")[0] == "failed"


def test_a_read_before_the_restart_does_not_fill_what_was_not_read_behind_it() -> None:
    part = "24 00 02 00 12 00 02"
    report = heard(BEFORE, write_at(), read_at(NEW), reset(), read_at("40 31", part))
    assert word_of(report, "write-memory")[0] == "unproven"


def test_all_readings_that_show_the_memory_are_the_proof() -> None:
    first, second = "24 00 02 00 10 00 02", "24 00 02 00 12 00 02"
    report = heard(BEFORE, write_at(), read_at("01 26", first), read_at("40 31", second))
    assert len(only(report, "write-memory").outcome.proof) == 2


def test_kwp2000_writes_by_address_get_the_same_words() -> None:
    """ISO 14230-3 (M): three bytes of address, one of size; the answer repeats the address."""
    enter_it = [ask("10 85", "50 85"), ask("1A 80", "5A 80 41 42"), ask("1A 91", "5A 91 43 44")]
    write_it = ask(f"3D 02 00 10 04 {NEW}", "7D 02 00 10")
    read_it = ask("23 02 00 10 04", f"63 {NEW}")
    assert word_of(heard(enter_it, write_it, read_it), "write-memory") == ("confirmed", "medium")


def test_memory_written_over_before_it_was_read_says_so() -> None:
    part = write_at("99", "24 00 02 00 11 00 01")
    report = heard(BEFORE, write_at(), part, read_at("01 99 40 31"))
    text = next(item for item in report.operations if item.kind == "write-memory").outcome.because[0]
    assert "partly written over (line " in text
    assert "not read" not in text
    again = heard(BEFORE, write_at(), write_at(OLD))
    texts = [item.outcome.because[0] for item in again.operations if item.kind == "write-memory"]
    assert "accepted, and written over (line " in texts[0]
    assert "not read since" in texts[1]


def test_a_write_by_address_is_nothing_that_a_tester_does_without_an_answer() -> None:
    report = heard(tester("10 03"), gap(1), tester(f"3D {PLACE} {NEW}"), gap(1))
    assert report.verdict.headline.startswith("Only one direction was recorded")
