"""What decoders of diagnostics get wrong (tests/vectors/traps.csv): each row has the test that says how it is."""

from __future__ import annotations

import ast
import csv
from functools import cache
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
LINES = (TESTS / "vectors" / "traps.csv").read_text("utf-8").splitlines()
ROWS = list(csv.DictReader((line for line in LINES if not line.startswith("#")), delimiter=";"))


@cache
def names_in(place: str) -> set[str]:
    """The names of the tests in a file."""
    tree = ast.parse((TESTS / f"{place}.py").read_text("utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["truth"])
def test_what_is_easily_read_wrong_has_its_test(row: dict[str, str]) -> None:
    assert row["test"] in names_in(row["file"])


def test_no_truth_stands_twice() -> None:
    assert len({row["truth"] for row in ROWS}) == len(ROWS)
