"""Trouble that is over asks for nothing, what was learned from open trims is learned again, silence is counted."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from analysis import analyse
from analysis.checks.looking.causes import LABEL
from analysis.report.model import Report
from analysis.report.text import render_text
from analysis.report.wording import UNREAD_TRIMS

FIXTURES = Path(__file__).parents[2] / "fixtures"
NAMES = [path.parent.name for path in sorted(FIXTURES.glob("*/capture.log"))]
AGAIN = "Run the learn routine"


@cache
def report(name: str) -> Report:
    world = name.partition("-")[0]
    names, sheet = FIXTURES / f"{world}_names.toml", FIXTURES / f"{world}.toml"
    return analyse(
        FIXTURES / name / "capture.log", sheet if sheet.exists() else None, [names] if names.exists() else []
    )


@pytest.mark.parametrize("name", NAMES)
def test_what_was_overcome_asks_for_nothing(name: str) -> None:
    for item in report(name).findings:
        if "accepted later" in item.explanation.partition(LABEL)[0]:
            assert len(item.try_next) == 1 and item.try_next[0].startswith("Nothing has to be repeated")
            assert not item.cautions


def test_a_second_try_that_was_good_leaves_nothing_to_repeat() -> None:
    found = next(item for item in report("uds11-second-attempt-good").findings if item.id == "programming-failure")
    assert not any("again" in step for step in found.try_next)


@pytest.mark.parametrize("name", NAMES)
def test_learning_is_repeated_exactly_where_trims_are_open(name: str) -> None:
    parts = report(name).verdict.parts
    learned = parts["learn"].word == "confirmed"
    is_open = parts["trims"].word in ("failed", "interrupted", "unproven")
    is_told = any(step.startswith(AGAIN) for step in report(name).verdict.next_steps)
    if learned and is_open:
        assert is_told
    if not learned:
        assert not is_told


@pytest.mark.parametrize("name", NAMES)
def test_open_trims_have_their_caution_on_the_first_screen(name: str) -> None:
    is_open = report(name).verdict.parts["trims"].word in ("failed", "interrupted", "unproven")
    page = " ".join(render_text(report(name).to_dict(), color=False).split())
    assert (UNREAD_TRIMS in page.partition("WHAT TO DO NEXT")[0]) == is_open


def test_a_memory_that_was_shown_good_is_not_called_broken() -> None:
    state = next(item for item in report("uds11-reset-no-return").modules if item.story.label == "PCU")
    assert state.now == "silent"
    assert not any("not whole" in text for text in state.cautions)
    assert any("times from" in shown.text for shown in state.evidence)


def test_a_module_that_fell_silent_inside_its_download_is_still_not_whole() -> None:
    state = next(item for item in report("uds11-module-silent").modules if item.story.label == "PCU")
    assert any("not whole" in text for text in state.cautions)
