"""An accepted order to an output is no mere reading (ISO 14229-1:2020, 13.2 (M); ISO 14230-3 (M); GMW3110 1.6 (M))."""

from __future__ import annotations

from pathlib import Path

import pytest
from talk import Talk, ask, heard, read

from analysis.job import analyse
from analysis.report.as_json import report_dict
from analysis.report.text import render_text

REAL = Path(__file__).resolve().parents[3] / "fixtures" / "real"
TAKE = ask("2F F032 03", "6F F032 03")
HELD = "an output was controlled ({}), whether it was released is not shown"
KWP_SIGNS = [*ask("21 01", "61 01 05"), *ask("18 00 FF 00", "58 00"), *ask("10 92", "50 92")]
GMW_SIGNS = [*ask("A2", "E2 00"), *ask("A5 01", "E5")]


def test_an_output_whose_return_was_refused_is_not_only_read() -> None:
    report = analyse(REAL / "ev_bms_9.asc")
    assert HELD.format("2F F032") in report.verdict.headline
    assert report.verdict.next_steps[0].startswith("Cycle the ignition, or return control at")
    text = " ".join(render_text(report_dict(report)).split())
    assert "nly read" not in text
    assert "Keep clear of moving parts" in text


@pytest.mark.parametrize(
    "behind",
    [ask("2F F032 00", "6F F032 00"), ask("10 01", "50 01 0032 01F4"), ask("11 01", "51 01")],
    ids=["return", "default session", "restart"],
)
def test_an_output_that_was_given_back_says_so(behind: Talk) -> None:
    headline = heard(*TAKE, *behind).verdict.headline
    assert "an output was controlled (2F F032), and given back" in headline


@pytest.mark.parametrize(
    "talk",
    [
        ask("2F F032 03", "7F 2F 31"),
        ask("2F F032 00", "6F F032 00"),
        [*KWP_SIGNS, *ask("30 05 01", "70 05 01 07")],
        [*GMW_SIGNS, *ask("AE 00 00 00 00 00 00", "EE 00")],
    ],
    ids=["refused", "only returned", "only asked", "all returned"],
)
def test_no_output_is_called_controlled_that_was_not(talk: list[Talk]) -> None:
    assert "controlled" not in heard(*read("F190", b"X"), *talk).verdict.headline


@pytest.mark.parametrize(
    ("talk", "what"),
    [
        ([*KWP_SIGNS, *ask("30 05 07 01", "70 05 07 01")], "30 05"),
        ([*GMW_SIGNS, *ask("AE 02 01 01 00 00 00", "EE 02")], "AE 02"),
        ([*TAKE, *ask("2F F033 00", "6F F033 00")], "2F F032"),
    ],
    ids=["KWP2000", "GMW3110", "another returned"],
)
def test_an_output_that_was_not_given_back_is_named(talk: list[Talk], what: str) -> None:
    assert HELD.format(what) in heard(*talk).verdict.headline
