"""A bus that falls silent as a whole is not a module that falls silent first. Common practice, no source."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

from analysis import analyse
from analysis.report.model import Report

FIXTURES = Path(__file__).parents[3] / "fixtures"
GAP_S = 4


def lines() -> list[str]:
    return (FIXTURES / "uds11-module-silent" / "capture.log").read_text().splitlines()


def later(line: str, seconds: int) -> str:
    return re.sub(r"^\((\d+)", lambda found: f"({int(found[1]) + seconds}", line)


@cache
def cut(tmp: Path, back: str) -> Report:
    """Everything stops behind the block that was not answered; some ids come back."""
    whole = lines()
    rest = [later(line, GAP_S) for line in whole[163:] if re.search(rf" ({back})#", line)]
    path = tmp / "cut.log"
    path.write_text("\n".join([*whole[:163], *rest]) + "\n")
    return analyse(path, None, [FIXTURES / "uds11_names.toml"])


@pytest.fixture
def report(tmp_path: Path) -> Report:
    return cut(tmp_path, "3A8|7DF|7E1|7E9")


def test_nobody_is_said_to_have_stopped_first(report: Report) -> None:
    assert report.post_mortem is not None
    assert report.post_mortem.silent_first == "everything"
    ids = [item.id for item in report.findings]
    assert ids.count("silence-everything") == 1
    assert "silence-module-first" not in ids


def test_a_module_that_nobody_asked_since_is_not_called_silent(report: Report) -> None:
    state = next(item for item in report.modules if item.story.label == "PCU")
    assert state.now == "unknown"
    assert any("not asked since" in shown.text for shown in state.evidence)


def test_the_supply_is_the_first_cause(report: Report) -> None:
    assert report.post_mortem is not None
    assert report.post_mortem.explanations[0].cause == "the supply was too weak"


def test_a_module_asked_in_vain_after_the_bus_came_back_is_silent(tmp_path: Path) -> None:
    report = cut(tmp_path, "3A8|7DF|7E1|7E9|7E0")
    state = next(item for item in report.modules if item.story.label == "PCU")
    assert state.now == "silent"
