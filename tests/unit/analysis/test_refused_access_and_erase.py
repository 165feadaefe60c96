"""What a refused seed, key or erase leaves, and what to do then. ISO 14229-1:2020, 10.4 and annex A.1 (M)."""

from __future__ import annotations

import pytest
from talk import (
    ERASE,
    IMAGE,
    NAMES,
    Talk,
    ask,
    block,
    enter,
    gap,
    heard,
    of_kind,
    programming,
    read,
    request,
    reset,
    state,
    words,
)

from analysis.answer.next_steps import BEHIND_ITS_CAUSE, ONLY_IF_OPEN
from analysis.modules import KEEP_POWER, NO_BLIND_RETRY
from analysis.report.model import Report
from analysis.report.text import render_text

SESSION = ask("10 02", "50 02 0032 01F4")
SEED, KEY = ask("27 01", "67 01 1234"), ask("27 02 ABCD", "67 02")
GOOD = ask("31 01 0266 01", "71 01 0266 00")
REFUSED = ask(ERASE[0], "7F 31 22")
DONE: list[Talk] = [read("F188", "41"), enter(), programming(), GOOD, reset(), read("F188", "42"), gap(1), enter()]


def told(*talk: Talk) -> Report:
    return heard(read("F190", "41"), SESSION, *talk)


def page(report: Report) -> str:
    return " ".join(render_text(report.to_dict(), color=False).split())


def test_a_seed_refused_by_a_running_delay_is_said_to_be_so() -> None:
    verdict = told(ask("27 01", "7F 27 37")).verdict
    assert "a delay is running" in verdict.headline and "the seed (27 01) was refused with 37" in verdict.headline
    assert "key was refused" not in verdict.headline
    assert verdict.next_steps[0].startswith("Wait with the ignition on")
    assert "27 01 was refused with 37" in verdict.next_steps[0]


def test_a_key_refused_by_a_running_delay_is_said_to_be_so() -> None:
    headline = told(SEED, ask("27 02 ABCD", "7F 27 37")).verdict.headline
    assert "a delay is running" in headline and "the key (27 02) was refused with 37" in headline


def test_too_many_keys_are_told_with_code_and_step() -> None:
    headline = told(SEED, ask("27 02 ABCD", "7F 27 36")).verdict.headline
    assert "the key (27 02) was refused with 36" in headline and "access is locked for a time" in headline


def test_a_delay_that_is_over_is_no_lock() -> None:
    report = told(ask("27 01", "7F 27 37"), gap(11), SESSION, SEED, KEY)
    assert "delay" not in report.verdict.headline and "locked" not in report.verdict.headline


def test_an_erase_refused_at_once_leaves_the_earlier_programming_standing() -> None:
    report = heard(DONE, REFUSED, names=NAMES)
    first, second = of_kind(report, "download")
    assert (first.outcome.word, second.outcome.word) == ("confirmed", "failed")
    assert first.superseded_by is None
    assert KEEP_POWER not in state(report).cautions
    assert "nothing was touched" in report.verdict.headline
    assert "programming before it stands" in report.verdict.headline
    assert "the module's own check 0266 answered good" in page(report)


def test_an_erase_refused_at_once_without_an_earlier_programming_speaks_of_none() -> None:
    report = heard(read("F188", "41"), enter(), REFUSED, names=NAMES)
    assert "stands" not in report.verdict.headline
    assert KEEP_POWER not in state(report).cautions


@pytest.mark.parametrize(
    "second",
    [
        ask(ERASE[0], "7F 31 78", "7F 31 22"),
        ask(ERASE[0], "7F 31 72"),
        [ask(*ERASE), request(), block(1, IMAGE[:32], "7F 36 72")],
    ],
    ids=["begun", "the memory gave trouble", "erased and broken off"],
)
def test_an_erase_that_may_have_begun_replaces_the_earlier_programming(second: Talk) -> None:
    report = heard(DONE, second, names=NAMES)
    assert of_kind(report, "download")[0].superseded_by is not None
    assert "stands" not in report.verdict.headline


def test_a_refusal_behind_an_erase_that_broke_off_does_not_bring_the_first_programming_back() -> None:
    broken = [ask(*ERASE), request(), block(1, IMAGE[:32], "7F 36 72")]
    report = heard(DONE, broken, enter(), REFUSED, names=NAMES)
    assert words(report, "download")[0] == "confirmed"
    assert of_kind(report, "download")[0].superseded_by is not None
    assert "stands" not in report.verdict.headline
    assert KEEP_POWER in state(report).cautions


def test_two_refusals_in_a_row_are_one_failure() -> None:
    report = heard(DONE, REFUSED, enter(), REFUSED, names=NAMES)
    first, second, third = of_kind(report, "download")
    assert (first.superseded_by, second.superseded_by) == (None, third.number)


@pytest.mark.parametrize(
    "talk",
    [
        [ask(*ERASE), request(), block(1, IMAGE[:32], "7F 36 72")],
        [ask(*ERASE), request(), block(1, IMAGE[:32]), gap(8)],
        REFUSED,
        [ask(*ERASE), request(answer="7F 34 70")],
        [programming(), ask("31 01 0266 01", "71 01 0266 01")],
    ],
    ids=["a block", "broken off", "the erase", "the request", "the check"],
)
def test_another_try_is_advised_only_behind_its_cause(talk: Talk) -> None:
    """A caution that forbids a blind try stands on the same page."""
    report = heard(read("F188", "41"), enter(), talk, names=NAMES)
    steps = report.verdict.next_steps
    again = [step for step in steps if step.startswith("Program ")]
    assert NO_BLIND_RETRY in state(report).cautions
    assert all(any(text in step for text in (*BEHIND_ITS_CAUSE, ONLY_IF_OPEN)) for step in again)


def test_a_failure_that_no_finding_explains_has_its_own_reason_as_the_cause_to_find() -> None:
    report = heard(read("F188", "41"), enter(), ask(*ERASE), request(), block(1, IMAGE[:32], "7F 36 55"), names=NAMES)
    assert any(step.startswith("Find out why") and "55" in step for step in report.verdict.next_steps)


def test_while_access_is_locked_the_next_try_waits_for_it() -> None:
    broken = [ask(*ERASE), request(), block(1, IMAGE[:32], "7F 36 72")]
    report = heard(read("F188", "41"), enter(), broken, SESSION, ask("27 01", "7F 27 37"), names=NAMES)
    again = [step for step in report.verdict.next_steps if step.startswith("Program ")]
    assert all("once access is granted again" in step for step in again)
