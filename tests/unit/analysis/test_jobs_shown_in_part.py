"""Recordings that hold a part of the job: what is in them is said, and what is not."""

from __future__ import annotations

import pytest
from talk import (
    ERASE,
    KEEPER,
    NAMES,
    SOFTWARE,
    Talk,
    ask,
    enter,
    heard,
    item,
    programming,
    read,
    reset,
    write,
)  # fmt: skip

from analysis.operations.model import Part
from analysis.report.model import Report

CALIBRATION = bytes((5 * at + 1) % 249 for at in range(96))
BEFORE: list[Talk] = [read("F188", b"PCU-SW-1100"), enter()]
FIRST: list[Talk] = [programming(), ask("31 01 0266 01", "71 01 0266 00")]
SECOND: list[Talk] = [programming(CALIBRATION, 0x00020000), ask("31 01 0266 02", "71 01 0266 00")]
SHEET = """
[[module]]
label = "PCU"
link = "7E0:7E8"
programming = { software = "PCU-SW-1204", calibration = "PCU-CAL-7" }
trims = [{ identifier = "3A01", value = "0102" }]
"""
ABSENT = """
[[module]]
label = "PMU"
link = "7E3:7EB"
trims = [{ identifier = "3A01", value = "0102" }]
"""


def cut_behind_the_first_part(sheet: str = "") -> Report:
    return heard(BEFORE, FIRST, names=NAMES, sheet=sheet)


def test_a_part_of_which_the_sheet_asks_more_is_shown_only_in_part() -> None:
    report = cut_behind_the_first_part(SHEET)
    assert report.verdict.headline == (
        "PCU: programming only in part, not shown: calibration; not in this recording: trims and configuration."
    )
    assert report.verdict.parts[Part.PROGRAMMING].lacking == "calibration"
    assert report.verdict.next_steps[-1].endswith(": programming (calibration), trims and configuration.")
    text = report.to_text()
    assert "THE JOB  shown only in part" in text
    assert "Programming           shown only in part" in text


def test_parts_that_the_sheet_does_not_ask_for_are_not_missed() -> None:
    verdict = cut_behind_the_first_part(SHEET).verdict
    assert not [part for part in ("VIN", "learn", "fault memory") if part in verdict.headline]


def test_a_part_of_which_nothing_is_shown_lacks_nothing_in_particular() -> None:
    report = heard(read("F190", b"41"), read("3A01", "0203"), sheet=SHEET)
    assert report.verdict.parts[Part.PROGRAMMING].lacking == ""
    assert "in part" not in report.to_text()


def test_a_recording_that_ends_in_the_programming_session_is_confirmed_only_so_far() -> None:
    verdict = cut_behind_the_first_part().verdict
    assert verdict.headline == (
        "Confirmed so far at PCU: programming; the recording ends in the programming session of PCU: more may have "
        "followed."
    )
    assert verdict.next_steps == (
        "Look for the rest of the recording: it ends in the programming session of PCU.",
    )  # fmt: skip


@pytest.mark.parametrize("end", [reset(), ask("10 01", "50 01 0032 01F4")])
def test_a_recording_that_ends_behind_the_session_is_confirmed(end: Talk) -> None:
    verdict = heard(BEFORE, FIRST, SECOND, end, names=NAMES).verdict
    assert verdict.headline == "All confirmed at PCU: programming."
    assert not verdict.next_steps


def test_a_module_of_the_sheet_on_other_ids_is_said_to_be_missing() -> None:
    report = heard(BEFORE, FIRST, reset(), read("F188", SOFTWARE), sheet=SHEET.replace("7E0:7E8", "7E2:7EA"))
    assert item(report, "software").note == "PCU (7E2>7EA) is not in this recording"
    assert "PCU (7E2>7EA); it holds 7E0>7E8." in report.verdict.next_steps[0]


def test_of_two_modules_the_missing_one_is_named() -> None:
    done = [write("3A01", "0102"), reset(), read("3A01", "0102")]
    sheet = SHEET.replace('programming = { software = "PCU-SW-1204", calibration = "PCU-CAL-7" }', "")
    report = heard(enter(), done, read("3A01", "0506", on=KEEPER), sheet=sheet + ABSENT)
    assert report.verdict.headline == (
        "PCU: trims and configuration only in part, not shown: PMU trim 3A01; PMU (7E3>7EB) is not in this recording."
    )


def test_an_erase_without_its_download_is_interrupted_and_not_merely_in_part() -> None:
    report = heard(BEFORE, FIRST, ask(*ERASE), names=NAMES, sheet=SHEET)
    assert report.verdict.parts[Part.PROGRAMMING].word == "interrupted"
    assert report.verdict.parts[Part.PROGRAMMING].lacking == ""
