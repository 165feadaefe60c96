"""Causes are told as possible, only those of the code that came, and none that the capture rules out."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

from analysis import analyse
from analysis.checks.finding import Finding
from analysis.checks.looking.causes import BY_ACT, BY_CODE, LABEL, in_words
from analysis.report.model import Report

FIXTURES = Path(__file__).parents[2] / "fixtures"
NAMES = [path.parent.name for path in sorted(FIXTURES.glob("*/capture.log"))]


@cache
def report(name: str) -> Report:
    names = FIXTURES / f"{name.partition('-')[0]}_names.toml"
    return analyse(FIXTURES / name / "capture.log", None, [names] if names.exists() else [])


def one(name: str, finding: str) -> Finding:
    return next(item for item in report(name).findings if item.id == finding)


@pytest.mark.parametrize("name", NAMES)
def test_no_list_of_causes_stands_as_a_fact(name: str) -> None:
    for item in report(name).findings:
        told = item.explanation.removeprefix(item.case).strip()
        first = told.partition(". ")[0]
        assert "; " not in first or LABEL in first, item.id
        assert not re.search(r"(?i)\btester (took|thought|believe)", told), item.id


@pytest.mark.parametrize("name", NAMES)
def test_no_other_code_than_the_one_that_came_is_explained(name: str) -> None:
    for item in report(name).findings:
        told = item.explanation.removeprefix(item.case)
        assert not re.search(r"(?<![\w.])(1[1-4]|2[0-9]|3[0-9]|7[0-9A-F]|9[0-9])( or 7\d)?: ", told), item.id


def test_what_the_code_excludes_is_not_said() -> None:
    assert "unlocked" not in one("uds11-erase-refused", "erase-refused").explanation
    assert "supply" in one("uds11-erase-refused", "erase-refused").explanation
    assert "out of range" not in one("uds11-write-refused", "write-refused-in-a-list").explanation
    assert "ignition" in one("uds11-write-refused", "write-refused-in-a-list").explanation


def test_a_module_whose_checks_were_good_is_not_said_to_lack_an_application() -> None:
    found = one("uds11-boot-mode-after-reset", "boot-mode-only").explanation
    assert "no valid application" not in found
    assert "although its checks were good" in found


def test_the_step_fits_the_code() -> None:
    steps = " ".join(report("uds11-exit-refused").verdict.next_steps)
    assert "supply" in steps
    assert "24" not in steps and "31" not in steps


def test_causes_are_lists_of_their_own() -> None:
    assert in_words("The line; the recorder. More.") == f"{LABEL}the line; or the recorder. More."
    assert in_words("It was forgotten; or it ends by itself.") == f"{LABEL}it was forgotten; or it ends by itself."
    assert in_words("A plain fact.") == "A plain fact."
    for text in [*BY_CODE.values(), *BY_ACT.values()]:
        assert in_words(f"{text}; x").startswith(LABEL)
