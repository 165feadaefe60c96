"""Several captures of one job: overlaps, gaps and clocks without a date are said among the reasons of their fitness."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis import analyse

FIXTURES = Path(__file__).parents[3] / "fixtures"
LINES = (FIXTURES / "uds11-all-good-short" / "capture.log").read_text().splitlines(keepends=True)
SCREEN = (FIXTURES / "formats" / "clean" / "typed.txt").read_text()


def reasons(folder: Path, *parts: str) -> list[tuple[str, list[str]]]:
    paths = []
    for number, part in enumerate(parts):
        paths.append(folder / f"{number}.log")
        paths[-1].write_text(part)
    return [(each["fitness"], each["fitness_reasons"]) for each in analyse(paths).to_dict()["captures"]]


def test_a_gap_is_told_and_limits_nothing(tmp_path: Path) -> None:
    (_, first), (fitness, second) = reasons(tmp_path, "".join(LINES[:44]), "".join(LINES[52:]))
    assert not any("capture" in reason for reason in first)
    assert any("after capture 1: what happened between was not recorded" in reason for reason in second)
    assert fitness == "good"


def test_an_overlap_limits_the_later_capture_whatever_the_order_given(tmp_path: Path) -> None:
    (_, first), (fitness, second) = reasons(tmp_path, "".join(LINES[60:]), "".join(LINES[:100]))
    assert not any("overlaps" in reason for reason in first)
    assert fitness == "limited" and second[0].startswith("it overlaps capture 1 by ")


def test_the_same_file_twice_is_said_so(tmp_path: Path) -> None:
    _, (fitness, second) = reasons(tmp_path, "".join(LINES), "".join(LINES))
    assert fitness == "limited" and "the same file as capture 1" in second[0]


@pytest.mark.parametrize("order", [1, -1])
def test_a_clock_without_a_date_cannot_be_compared(tmp_path: Path, order: int) -> None:
    _, (_, second) = reasons(tmp_path, *["".join(LINES), SCREEN][::order])
    assert any("how long after capture 1 it begins is not known" in reason for reason in second)


def test_what_a_reader_assumed_is_among_the_reasons() -> None:
    report = analyse(FIXTURES / "formats" / "clean" / "printed.txt").to_dict()
    assert any("shape was learned" in reason for reason in report["captures"][0]["fitness_reasons"])
