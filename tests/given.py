"""Fixtures as somebody reads them: alone, with the job sheet of their world, with its names."""

from __future__ import annotations

from pathlib import Path

from analysis import analyse
from analysis.report.model import Report

FIXTURES = Path(__file__).parents[1] / "fixtures"
#: A fixture, and whether its sheet and its names are given, ``yes`` or ``no``: as in expected_words.csv.
Key = tuple[str, str, str]


def read_with(key: Key) -> Report:
    """The report on a fixture."""
    fixture, sheet, names = key
    world = fixture.partition("-")[0]
    return analyse(
        next((FIXTURES / fixture).glob("capture.*")),
        job=FIXTURES / f"{world}.toml" if sheet == "yes" else None,
        names=[FIXTURES / f"{world}_names.toml"] if names == "yes" else [],
    )
