"""Proofs told by another unit than the one that was worked on: only the serial number shows it."""

from __future__ import annotations

from talk import SOFTWARE, Talk, ask, enter, gap, heard, judged, log_of, of_kind, programming, read, reset, write

LATER = 1_795_009_999 * 10**9
NEW = b"PCU-SW-1207"
ONE, OTHER = b"SN-0000417", b"SN-0000923"
EXTENDED = ask("10 03", "50 03 0032 01F4")


def word(*logs: str, kind: str) -> str:
    return str(of_kind(judged(*logs), kind)[0].outcome.word)


def test_numbers_of_the_unit_taken_out_are_none_that_have_changed() -> None:
    old = log_of(read("F18C", ONE), read("F188", SOFTWARE))
    talk: list[Talk] = [enter(), programming(), reset(), read("F188", NEW)]
    assert word(old, log_of(read("F18C", OTHER), *talk, start_ns=LATER), kind="download") == "unproven"
    assert word(old, log_of(read("F18C", ONE), *talk, start_ns=LATER), kind="download") == "confirmed"


def test_values_of_another_unit_are_no_read_back() -> None:
    done = log_of(EXTENDED, read("F18C", ONE), write("3A01", "01020304"))
    back = read("3A01", "01020304")
    assert word(done, log_of(read("F18C", OTHER), back, start_ns=LATER), kind="write") == "unproven"
    assert word(done, log_of(read("F18C", ONE), back, start_ns=LATER), kind="write") == "confirmed"


def test_nor_in_one_capture() -> None:
    before: list[Talk] = [read("F18C", ONE), read("F188", SOFTWARE), enter(), programming(), reset(), gap(60)]
    other = heard(before, read("F18C", OTHER), read("F188", NEW))
    assert str(of_kind(other, "download")[0].outcome.word) == "unproven"
    same = heard(before, read("F18C", ONE), read("F188", NEW))
    assert str(of_kind(same, "download")[0].outcome.word) == "confirmed"
