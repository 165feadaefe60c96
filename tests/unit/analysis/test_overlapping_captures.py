"""Two captures that ran at the same time: inside the overlap neither proves an act of the other one.

Common practice, no source. The wrong *confirmed* to be kept away: a reading that came before the act, in a capture
that begins later, taken for one behind it.
"""

from __future__ import annotations

import pytest
from talk import SOFTWARE, Talk, ask, enter, gap, judged, log_of, only, programming, read, reset, word_of, write

START = 1_795_000_000 * 10**9
SECOND = 10**9
NEW = "01264031"
WROTE: list[Talk] = [read("3A01", "FFFFFFFF"), gap(20), write("3A01", NEW)]
CLEARED: list[Talk] = [ask("19 02 FF", "59 02 FF 1B2354 2F"), gap(20), ask("14 FFFFFF", "54")]
EMPTY = ask("19 02 FF", "59 02 FF")


def at(seconds: float, *talk: Talk) -> str:
    return log_of(*talk, start_ns=START + round(seconds * SECOND))


def test_a_reading_that_came_before_the_act_proves_nothing() -> None:
    """It stands in the capture that begins later, and bears an earlier time."""
    assert word_of(judged(at(0, WROTE), at(5, read("3A01", NEW))), "write")[0] == "unproven"
    assert word_of(judged(at(0, CLEARED), at(5, EMPTY)), "clear")[0] == "unproven"


@pytest.mark.parametrize("swapped", [False, True])
def test_the_order_of_the_command_does_not_matter(swapped: bool) -> None:
    logs = [at(0, WROTE), at(5, read("3A01", NEW))]
    assert word_of(judged(*(reversed(logs) if swapped else logs)), "write")[0] == "unproven"


def test_a_reading_that_differs_inside_the_overlap_is_no_failure() -> None:
    """The old value, read before it was written."""
    report = judged(at(0, WROTE), at(5, read("3A01", "FFFFFFFF")))
    assert word_of(report, "write")[0] == "unproven"
    assert any("same time" in text for item in report.operations for text in item.outcome.because)


def test_times_just_behind_the_act_are_not_enough_while_the_first_capture_goes_on() -> None:
    """The clocks of two loggers may differ by more."""
    assert word_of(judged(at(0, WROTE, gap(20), read("F190", "41")), at(5, gap(16), read("3A01", NEW))), "write")[
        0
    ] == ("unproven")


def test_behind_the_overlap_a_reading_proves_and_never_surely() -> None:
    second = at(5, read("F190", "41"), gap(60), reset(), read("3A01", NEW))
    assert word_of(judged(at(0, WROTE), second), "write") == ("confirmed", "medium")


def test_act_and_proof_in_one_capture_are_as_sure_as_ever() -> None:
    whole = at(0, WROTE, reset(), read("3A01", NEW))
    alone, beside = (
        judged(whole),
        judged(
            whole,
            at(
                3,
                read(
                    "F190",
                    "41",
                ),
            ),
        ),
    )
    assert word_of(alone, "write") == word_of(beside, "write") == ("confirmed", "high")


def test_captures_that_do_not_overlap_are_as_sure_as_ever() -> None:
    assert word_of(judged(at(0, WROTE, reset()), at(60, read("3A01", NEW))), "write") == ("confirmed", "high")


def test_a_refusal_in_its_own_capture_stays_a_failure() -> None:
    refused = at(0, gap(20), write("3A01", NEW, "7F 2E 31"))
    assert word_of(judged(refused, at(5, read("3A01", NEW))), "write")[0] == "failed"


def test_a_sheet_is_not_fulfilled_by_a_reading_inside_the_overlap() -> None:
    vin, other = b"E0VLK3P06SM018931".hex(), b"E0VLK3P06SM018932".hex()
    first = at(0, read("F190", "00" * 17), gap(20), ask(f"2E F190 {other}", "6E F190"))
    sheet = """
[vehicle]
vin = "E0VLK3P06SM018931"
[[module]]
label = "PCU"
link = "7E0:7E8"
vin = "write"
"""
    report = judged(first, at(5, ask("22 F190", f"62 F190 {vin}")), sheet=sheet)
    assert [str(item.word) for item in report.expectations] != ["confirmed"]


def test_software_read_inside_the_overlap_fulfils_no_sheet() -> None:
    """The module may have said so before it was programmed."""
    sheet = """
[vehicle]
vin = "E0VLK3P06SM018931"
[[module]]
label = "PCU"
link = "7E0:7E8"
programming = { software = "PCU-SW-1204" }
"""
    first = at(0, read("F190", "00" * 17), gap(20), enter(), programming(), reset())
    inside = judged(first, at(5, read("F188", SOFTWARE)), sheet=sheet)
    behind = judged(first, at(90, read("F188", SOFTWARE)), sheet=sheet)
    assert [str(report.expectations[0].word) for report in (inside, behind)] == ["unproven", "confirmed"]


def test_a_restart_inside_the_overlap_is_behind_nothing_of_the_other_capture() -> None:
    """It may have been before the write: the value need not be stored yet."""
    reads = [gap(30), read("3A01", NEW)]
    report = judged(at(0, WROTE), at(5, reset(), read("F190", "41"), reads))
    assert word_of(report, "write") == ("unproven", "medium")
    assert not only(report, "write").details["after_power_cycle"]
    behind = judged(at(0, WROTE), at(5, read("F190", "41"), gap(30), reset(), read("3A01", NEW)))
    assert word_of(behind, "write") == ("confirmed", "medium")
    in_own = judged(at(0, WROTE, reset(), read("F190", "41")), at(5, read("F190", "41"), reads))
    assert word_of(in_own, "write") == ("confirmed", "medium")


READ_BACK: list[Talk] = [WROTE, read("3A01", NEW)]
UNSURE = "was recorded in another capture at the same time: whether it came behind is not known"


@pytest.mark.parametrize(
    ("beside", "said"),
    [
        (reset(), "a restart"),
        (ask("11 01"), "a reset that may have been done"),
        (ask("31 01 FF00", "71 01 FF00 00"), "an erase of memory"),
    ],
    ids=["a restart", "a reset without an answer", "an erase"],
)
def test_what_another_capture_holds_inside_the_overlap_is_not_said_to_have_followed(beside: Talk, said: str) -> None:
    report = judged(at(0, READ_BACK, gap(20), read("F190", "41")), at(5, read("F190", "41"), beside))
    assert word_of(report, "write")[0] == "unproven"
    text = only(report, "write").outcome.because[0]
    assert f"{said} {UNSURE}" in text
    assert "followed" not in text and "then" not in text


def test_what_follows_in_the_own_capture_or_behind_the_overlap_followed() -> None:
    for logs in (
        [at(0, READ_BACK, reset(), read("F190", "41"))],
        [at(0, READ_BACK), at(60, read("F190", "41"), reset(), read("F190", "41"))],
        [at(0, READ_BACK), at(5, read("F190", "41"), gap(60), reset(), read("F190", "41"))],
    ):
        text = only(judged(*logs), "write").outcome.because[0]
        assert "only before the restart that followed" in text


def test_a_sheet_does_not_say_that_a_value_was_read_before_an_erase_of_the_other_capture() -> None:
    sheet = '[[module]]\nlabel = "PCU"\nlink = "7E0:7E8"\ntrims = [ { identifiers = "3A01", value = "01264031" } ]\n'
    erase = ask("31 01 FF00", "71 01 FF00 00")
    reading = at(0, read("F190", "41"), gap(10), read("3A01", NEW), gap(20), read("F190", "41"))
    beside = judged(reading, at(5, read("F190", "41"), erase), sheet=sheet).expectations[0]
    assert beside.word == "unproven"
    assert f"an erase of memory {UNSURE}" in beside.note and "only before" not in beside.note
    behind = judged(reading, at(90, read("F190", "41"), erase), sheet=sheet).expectations[0]
    assert behind.note.startswith("read only before memory was erased")
