"""An erase whose answer is missing, or was not wanted: it was asked for, and what it did is not shown.

ISO 14229-1:2020, 7.5 and 13 (M).
"""

from __future__ import annotations

import pytest
from talk import ERASE, SOFTWARE, Talk, ask, enter, gap, heard, item, only, read, request, state, write

ASKED = "memory was asked to be erased (whether it was is not shown)"
OPEN_ENDED = {
    "no answer": (ask("31 01 FF00"), gap(7)),
    "answer suppressed": (ask("31 81 FF00"), gap(1)),
}
BEGUN: Talk = (ask("31 01 FF00", "7F 31 78"), gap(8))
BEFORE: list[Talk] = [read("F190", "41"), enter()]
VALUE: list[Talk] = [write("4A10", "01020304"), read("4A10", "01020304")]


@pytest.mark.parametrize("erase", OPEN_ENDED.values(), ids=OPEN_ENDED)
def test_an_erase_without_an_answer_was_only_asked_for(erase: Talk) -> None:
    report = heard(BEFORE, erase)
    assert only(report, "download").outcome.because == (f"{ASKED}, and nothing was downloaded",)
    assert ASKED in report.verdict.headline


def test_an_erase_that_asked_for_time_and_never_ended_was_begun() -> None:
    report = heard(BEFORE, BEGUN)
    assert only(report, "download").outcome.because[0].startswith("an erase of memory was begun, and nothing was")


def test_an_erase_that_was_accepted_is_told_as_one() -> None:
    assert only(heard(BEFORE, ask(*ERASE)), "download").outcome.because == (
        "memory was erased and nothing was downloaded",
    )


@pytest.mark.parametrize("erase", OPEN_ENDED.values(), ids=OPEN_ENDED)
def test_a_refused_request_behind_it_says_so(erase: Talk) -> None:
    text = only(heard(BEFORE, erase, request(answer="7F 34 70")), "download").outcome.because[0]
    assert text.startswith(f"the request to transfer was refused, after {ASKED}: 70")


@pytest.mark.parametrize("erase", OPEN_ENDED.values(), ids=OPEN_ENDED)
def test_a_value_read_before_it_may_be_gone(erase: Talk) -> None:
    sheet = '[[module]]\nlabel = "PCU"\nlink = "7E0:7E8"\ntrims = [ { identifier = "4A10", value = "01020304" } ]\n'
    report = heard(BEFORE, VALUE, erase, sheet=sheet)
    outcome = only(report, "write").outcome
    assert outcome.word == "unproven"
    assert f"read back equal, but then {ASKED}, which trims" in outcome.because[0]
    only_read = heard(read("F190", "41"), VALUE[1], enter(), erase, sheet=sheet)
    assert f"read only before {ASKED}" in item(only_read, "4A10").note


def test_a_value_read_before_an_erase_that_was_accepted_may_be_gone() -> None:
    text = only(heard(BEFORE, VALUE, ask(*ERASE)), "write").outcome.because[0]
    assert "read back equal, but then memory was erased, which trims" in text


@pytest.mark.parametrize("erase", OPEN_ENDED.values(), ids=OPEN_ENDED)
def test_what_runs_behind_it_is_not_shown(erase: Talk) -> None:
    report = heard(read("F190", "41"), read("F188", SOFTWARE), erase[0], gap(0.1))  # type: ignore[index]
    assert state(report).now == "unknown"
    assert "its application runs" not in report.verdict.headline


def test_behind_an_erase_that_was_refused_the_application_runs_on() -> None:
    report = heard(read("F190", "41"), read("F188", SOFTWARE), ask("31 01 FF00", "7F 31 22"))
    assert state(report).now == "application"


def test_an_application_that_answers_behind_it_runs() -> None:
    report = heard(read("F190", "41"), ask("31 81 FF00"), gap(1), read("F188", SOFTWARE))
    assert state(report).now == "application"
