"""The table of findings that are one negative response each, over every code and act."""

from __future__ import annotations

from collections import Counter

from analysis.checks.refusal_codes import ROWS
from canlog.names.nrc import NRCS


def test_no_refusal_is_told_by_two_rows() -> None:
    told = Counter((code, act) for row in ROWS for code in row.codes for act in row.acts)
    assert [pair for pair, times in told.items() if times > 1] == []


def test_every_code_of_a_row_has_a_meaning_of_its_own() -> None:
    """No row answers to a reserved code, but for those that a maker defines."""
    assert {code for row in ROWS for code in row.codes if NRCS[code].is_reserved} <= set(range(0xF0, 0xFF))


def test_causes_are_said_as_possibilities() -> None:
    assert [row.id for row in ROWS if " may " not in f" {row.means} "] == []
