"""What was read of an act and why it proves nothing: read too early, blank, refused, as before, or not at all."""

from __future__ import annotations

import pytest
from talk import NAMES, SOFTWARE, Talk, ask, enter, heard, item, only, programming, read, reset, tester, write

from analysis.report.model import Report

CALIBRATION = bytes((5 * at + 1) % 249 for at in range(96))
OLD = b"PCU-SW-1100"
BEFORE: list[Talk] = [read("F188", OLD), read("F1A0", b"PCU-CAL-6"), enter()]
SECOND: Talk = programming(CALIBRATION, 0x00020000)
REFUSED = "7F 22 31"
ALIVE = ask("3E 00", "7E 00")
SHEET = """
[[module]]
label = "PCU"
link = "7E0:7E8"
programming = { software = "PCU-SW-1204" }
trims = [{ identifier = "3A01", value = "0102" }]
"""


def programmed(*talk: Talk, names: str = NAMES, sheet: str = "") -> Report:
    return heard(BEFORE, programming(), *talk, names=names, sheet=sheet)


@pytest.mark.parametrize(
    ("since", "why"),
    [
        ([reset(), ALIVE], "F188 was not read since"),
        ([read("F188", SOFTWARE), reset(), ALIVE], "F188 was read only before the restart"),
        ([read("F188", SOFTWARE)], "F188 was read only without a restart"),
        ([reset(), read("F188", "FF" * 11)], "F188 reads blank"),
        ([reset(), read("F188", OLD)], "F188 reads as before"),
        ([reset(), ask("22 F188", REFUSED)], "F188: its reading was refused with 31 (line 47)"),
        ([reset(), ALIVE, tester("22 F188"), ALIVE], "F188: its reading was not answered (line 49)"),
    ],
)
def test_a_download_that_is_not_proved_says_what_was_read_of_it(since: list[Talk], why: str) -> None:
    outcome = only(programmed(*since), "download").outcome
    assert outcome.word == "unproven"
    assert outcome.because[-1] == f"nothing afterwards proves that the memory is right: {why}"


def test_a_first_reading_behind_the_restart_shows_no_change() -> None:
    outcome = only(heard(enter(), programming(), reset(), read("F188", OLD), names=NAMES), "download").outcome
    assert outcome.because[-1].endswith("F188 was not read before, so nothing shows a change")


def test_of_two_parts_without_names_a_number_tells_neither() -> None:
    report = programmed(SECOND, reset(), read("F188", SOFTWARE), names="")
    reasons = [one.outcome.because[-1] for one in report.operations if one.kind == "download"]
    assert [one.rpartition(": ")[2] for one in reasons] == ["F188 has changed, but nothing says of which part"] * 2


@pytest.mark.parametrize(
    ("since", "wanted"),
    [
        ([reset(), ALIVE], "F188, F1A0"),
        ([reset(), read("F188", SOFTWARE)], "F1A0"),
        ([reset(), read("F1A0", b"PCU-CAL-7")], "F188"),
    ],
)
def test_the_step_names_the_identifiers_that_are_still_open(since: list[Talk], wanted: str) -> None:
    step = f"Cycle the ignition, then read the software identification ({wanted}) of PCU and capture that."
    assert step in programmed(SECOND, *since).verdict.next_steps


def test_what_reads_as_before_is_to_be_compared_and_not_read_again() -> None:
    steps = programmed(reset(), read("F188", OLD)).verdict.next_steps
    assert steps == (
        "Compare what PCU says now, F188 PCU-SW-1100, with the file that was programmed, or give a job sheet (--job) "
        "that asks for it.",
    )


@pytest.mark.parametrize(
    ("since", "found", "note"),
    [
        ([reset(), ALIVE], None, "not read since the restart"),
        ([read("F188", SOFTWARE), reset(), ALIVE], "PCU-SW-1204", "read only before the restart"),
        ([reset(), ask("22 F188", REFUSED)], None, "since the restart its reading was refused with 31 (line 47)"),
    ],
)
def test_the_sheets_item_says_the_same(since: list[Talk], found: str | None, note: str) -> None:
    software = item(programmed(*since, sheet=SHEET), "software")
    assert (software.word, software.found, software.note) == ("unproven", found, note)


def test_an_item_whose_reading_was_refused_without_any_programming_says_so() -> None:
    report = heard(ask("22 F188", REFUSED), read("F190", b"41"), sheet=SHEET)
    assert item(report, "software").note == "its reading was refused with 31 (line 1)"


@pytest.mark.parametrize(
    ("since", "why"),
    [
        ([], "accepted, but not read since"),
        ([reset(), ask("22 3A01", REFUSED)], "accepted, but its reading was refused with 31 (line 11)"),
        (
            [read("3A01", "0102"), reset(), ask("22 3A01", REFUSED)],
            "read back equal, but only before the restart that followed; since then its reading was refused with 31 "
            "(line 13)",
        ),
    ],
)
def test_a_write_and_its_item_say_what_became_of_its_reading(since: list[Talk], why: str) -> None:
    report = heard(enter(), write("3A01", "0102"), *since, sheet=SHEET)
    assert only(report, "write").outcome.because[0] == f"3A01: {why}"
    assert item(report, "trim").note == why


def test_a_reading_refused_before_another_write_says_nothing_of_that_one() -> None:
    report = heard(enter(), write("3A01", "0101"), ask("22 3A01", REFUSED), write("3A01", "0102"))
    assert report.operations[-1].outcome.because[0] == "3A01: accepted, but not read since"


def test_a_part_that_was_programmed_and_not_read_is_told_as_one_sentence() -> None:
    talk = [programming(), ask("31 01 0266 01", "71 01 0266 00"), reset(), ALIVE]
    report = heard(BEFORE, talk, names=NAMES, sheet=SHEET)
    (doubt,) = report.not_as_meant.values()
    assert doubt.why == "done, but not read since the restart"
