"""A download that one recording leaves open, of a module whose application answers in a later one.

Nobody programs a module again that may be whole: each try erases (common practice, no source).
"""

from __future__ import annotations

import pytest
from talk import (
    ERASE,
    NAMES,
    SOFTWARE,
    START_NS,
    Talk,
    ask,
    blocks,
    enter,
    gap,
    judged,
    log_of,
    read,
    request,
    reset,
    state,
    word_of,
)

from analysis.report.model import Report

DAY_NS = 86_400 * 1_000_000_000
OPEN: list[Talk] = [read("F188", SOFTWARE), enter(), ask(*ERASE), request(), blocks()[0]]
NEW = b"PCU-SW-1299"


def followed_by(*talk: Talk, before: tuple[Talk, ...] = (OPEN,)) -> Report:
    return judged(log_of(*before), log_of(*talk, start_ns=START_NS + DAY_NS), names=NAMES)


def steps_of(report: Report) -> str:
    return " ".join(map(str, report.verdict.next_steps))


@pytest.mark.parametrize("number", [NEW, SOFTWARE])
def test_its_number_is_compared_before_anything_is_programmed_again(number: bytes) -> None:
    report = followed_by(read("F188", number))
    assert word_of(report, "download")[0] == "interrupted"
    assert f"Compare what PCU says now, F188 {number.decode()}," in steps_of(report)
    assert "Program PCU again only if it is not what was meant" in steps_of(report)
    assert "compare its identification" in state(report).advice


def test_without_a_number_it_is_read_first() -> None:
    report = followed_by(ask("10 03", "50 03 0032 01F4"), ask("19 02 FF", "59 02 FF"))
    assert state(report).now == "application"
    assert "Read the software identification of PCU and compare it" in steps_of(report)


@pytest.mark.parametrize(
    "report",
    [
        lambda: judged(log_of(OPEN, reset(), read("F188", SOFTWARE)), names=NAMES),
        lambda: followed_by(ask("22 F186", "62 F186 02"), ask("22 F188", "7F 22 31")),
        lambda: followed_by(read("F188", NEW), before=(OPEN[:-1], ask("36 01 00", "7F 36 72"), gap(1))),
    ],
    ids=["in the same recording", "its boot loader answers", "a block was refused"],
)
def test_any_other_module_that_is_not_whole_is_programmed_again(report: object) -> None:
    steps = steps_of(report())  # type: ignore[operator]
    assert "Program PCU again once the cause is known" in steps
    assert "only if it is not what was meant" not in steps
