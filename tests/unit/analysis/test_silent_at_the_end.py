"""A module that does not answer at the end: sentence, words and exit code say the same."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner
from talk import (
    CHECK,
    KEEPER,
    NAMES,
    SOFTWARE,
    Talk,
    ask,
    cyclic,
    enter,
    gap,
    heard,
    log_of,
    programming,
    read,
    reset,
    tester,
    write,
)  # fmt: skip

from analysis.cli import main
from analysis.operations.model import Part

IN_VAIN: list[Talk] = [tester("22 F190"), gap(2), tester("3E 00"), gap(2), tester("22 F188"), gap(2), cyclic(0x120, 20)]
PROGRAMMED: list[Talk] = [read("F188", b"PCU-SW-1100"), enter(), programming(), reset(), read("F188", SOFTWARE)]
CHECKED: list[Talk] = [enter(), programming(), ask(CHECK, "71 01 0266 00"), reset(), read("F188", SOFTWARE)]
WRITTEN: list[Talk] = [enter(), write("3A01", "0102"), reset(), read("3A01", "0102")]
SHEET = """
[[module]]
label = "PCU"
link = "7E0:7E8"
programming = { software = "PCU-SW-1204" }
"""


@pytest.mark.parametrize("done", [PROGRAMMED, CHECKED])
@pytest.mark.parametrize("sheet", ["", SHEET])
def test_what_was_proved_before_the_last_restart_is_not_proved_behind_it(done: list[Talk], sheet: str) -> None:
    verdict = heard(done, reset(), IN_VAIN, names=NAMES, sheet=sheet).verdict
    assert verdict.headline == "PCU does not answer any more; what was done to it is not proved."
    part = verdict.parts[Part.PROGRAMMING]
    assert (part.word, part.confidence, verdict.overall) == ("unproven", "medium", "unproven")
    assert "asked after the last restart and does not answer" in part.because[0]


def test_values_read_back_before_the_last_restart_are_not_proved_behind_it() -> None:
    part = heard(WRITTEN, reset(), IN_VAIN).verdict.parts[Part.TRIMS]
    assert (part.word, part.confidence) == ("unproven", "medium")
    assert part.because[0].endswith(
        "read back equal after the restart, but the module was asked after the last restart and does not answer"
    )


def test_a_reset_without_an_answer_counts_as_a_restart_where_the_silence_begins_with_it() -> None:
    assert heard(PROGRAMMED, tester("11 01"), gap(2), IN_VAIN).verdict.parts[Part.PROGRAMMING].word == "unproven"
    assert heard(PROGRAMMED, IN_VAIN, tester("11 01"), gap(2)).verdict.parts[Part.PROGRAMMING].word == "confirmed"


def test_a_module_that_falls_silent_without_a_restart_keeps_what_was_proved_at_medium() -> None:
    verdict = heard(PROGRAMMED, IN_VAIN).verdict
    part = verdict.parts[Part.PROGRAMMING]
    assert (part.word, part.confidence) == ("confirmed", "medium")
    assert verdict.headline == "7E0>7E8 does not answer any more; what was done to it was proved before that."
    assert verdict.overall == "unproven"


def test_only_what_is_not_proved_of_a_silent_module_is_called_so() -> None:
    verdict = heard(PROGRAMMED, enter(), write("3A01", "0102", "6E 3A01"), IN_VAIN).verdict
    assert verdict.headline == "7E0>7E8 does not answer any more; not proved: trims and configuration."


@pytest.mark.parametrize("then", [[], [reset(), read("F188", SOFTWARE)]])
def test_a_module_that_answers_behind_its_last_restart_keeps_its_words(then: list[Talk]) -> None:
    verdict = heard(PROGRAMMED, then).verdict
    part = verdict.parts[Part.PROGRAMMING]
    assert (part.word, part.confidence, verdict.overall) == ("confirmed", "high", "confirmed")


@pytest.mark.parametrize(("end", "code"), [([reset(), IN_VAIN], 1), ([IN_VAIN], 1), ([], 0)])
def test_strict_does_not_pass_a_silent_module(end: list[Talk], code: int, tmp_path: Path) -> None:
    capture = tmp_path / "capture.log"
    capture.write_text(log_of(PROGRAMMED, end))
    assert CliRunner().invoke(main, ["report", str(capture), "--strict"]).exit_code == code


@pytest.mark.parametrize("sheet", [SHEET, ""])
def test_a_module_left_erased_that_the_sheet_does_not_ask_for_is_not_passed_over(sheet: str, tmp_path: Path) -> None:
    erased = [ask("10 02", "50 02 0032 01F4", on=KEEPER), ask("31 01 FF00", "71 01 FF00", on=KEEPER)]
    assert heard(PROGRAMMED, erased, sheet=sheet).verdict.overall == "interrupted"
    capture, job = tmp_path / "capture.log", tmp_path / "job.toml"
    capture.write_text(log_of(PROGRAMMED, erased))
    job.write_text(SHEET)
    assert CliRunner().invoke(main, ["report", str(capture), "--job", str(job), "--strict"]).exit_code == 1


def test_one_whose_programming_was_refused_at_once_is_as_it_was() -> None:
    refused = [ask("10 02", "50 02 0032 01F4", on=KEEPER), ask("31 01 FF00", "7F 31 33", on=KEEPER)]
    assert heard(PROGRAMMED, refused, sheet=SHEET).verdict.overall == "confirmed"
