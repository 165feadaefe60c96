"""The first screen of every shipped capture can be read in ten seconds."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from analysis import analyse
from analysis.answer.advice import VERBS
from analysis.answer.next_steps import MOST_STEPS
from analysis.report.contract import ReportDict
from analysis.report.text import render_text
from analysis.report.wording import cautions_on_top

FIXTURES = Path(__file__).parents[2] / "fixtures"
CAPTURES = sorted([*FIXTURES.glob("*/capture.*"), *FIXTURES.glob("real/*.asc"), *FIXTURES.glob("real/*.csv")], key=str)
MOST_LINES = 30
#: A word that ends in s and is no plural.
SINGULAR = {
    "ms",
    "bus",
    "pass",
    "access",
    "address",
    "process",
    "is",
    "was",
    "has",
    "as",
    "this",
    "its",
    "plus",
    "less",
    "us",
}


def cases() -> Iterator[tuple[Path, bool, bool]]:
    for path in CAPTURES:
        world = path.parent.name.partition("-")[0]
        has_names = (FIXTURES / f"{world}.toml").exists()
        yield path, False, False
        if has_names:
            yield path, True, False
            yield path, True, True


@cache
def report(path: Path, sheet: bool, names: bool) -> ReportDict:
    world = path.parent.name.partition("-")[0]
    return analyse(
        path,
        FIXTURES / f"{world}.toml" if sheet else None,
        [FIXTURES / f"{world}_names.toml"] if names else [],
    ).to_dict()


def name_of(value: object) -> str:
    if isinstance(value, Path):
        return value.parent.name if value.stem == "capture" else value.stem
    return str(value)


every_case = pytest.mark.parametrize(("path", "sheet", "names"), list(cases()), ids=name_of)


def first_screen(text: str) -> list[str]:
    head, trust, rest = text.partition("BE TRUSTED?")
    return (head + trust + rest.partition("\n\n")[0]).splitlines()


@every_case
def test_the_first_screen_is_short(path: Path, sheet: bool, names: bool) -> None:
    lines = first_screen(render_text(report(path, sheet, names), 80))
    assert len(lines) <= MOST_LINES, "\n".join(lines)
    assert not lines[0].startswith((" ", "THE MODULE")), "the headline stands first"


@every_case
def test_the_caution_takes_two_lines_behind_the_words_on_the_job(path: Path, sheet: bool, names: bool) -> None:
    lines = first_screen(render_text(report(path, sheet, names), 80))
    job = next(number for number, line in enumerate(lines) if line.startswith("THE JOB"))
    cautions = [number for number, line in enumerate(lines) if line.startswith("  Caution:")]
    assert len(cautions) <= 1
    for number in cautions:
        assert number > job
        assert "" in lines[number + 1 : number + 3], "\n".join(lines)


@every_case
def test_the_steps_are_few_and_each_says_what_to_do_once(path: Path, sheet: bool, names: bool) -> None:
    found = report(path, sheet, names)
    steps = found["verdict"]["next_steps"]
    of_sheet = [step for step in steps if step.startswith(("Do what the job sheet asks", "Do the job itself"))]
    assert len(steps) - len(of_sheet) <= MOST_STEPS
    assert len(of_sheet) <= 1 and (not of_sheet or steps[-1] == of_sheet[0])
    assert len(set(steps)) == len(steps)
    assert [step for step in steps if step.partition(" ")[0].lower() not in VERBS] == []
    said = cautions_on_top(found)
    assert [step for step in steps if any(text.rstrip(".") in step or step.rstrip(".") in text for text in said)] == []


@every_case
def test_nothing_is_to_be_written_down_where_nothing_was_read(path: Path, sheet: bool, names: bool) -> None:
    found = report(path, sheet, names)
    if any("Write down" in step for step in found["verdict"]["next_steps"]):
        assert any(item["readings"] for item in found["identifiers"])


@every_case
def test_one_thing_is_never_called_many(path: Path, sheet: bool, names: bool) -> None:
    text = " ".join(render_text(report(path, sheet, names), 120).split())
    many = [found for found in re.findall(r"(?<![\d.,>-])\b1 ([a-z]+s)\b", text) if found not in SINGULAR]
    assert many == []


def test_a_session_and_a_key_that_was_refused_are_no_mere_reading() -> None:
    text = render_text(report(FIXTURES / "uds11-wrong-key" / "capture.log", False, True), 80)
    assert "THE JOB  a programming session and access asked for, nothing was changed" in text
    assert "read only" not in text
    assert "May it be tried again? Not now." in " ".join(text.split())
