"""Equal values of all units: a default, unless something in the captures says that they are meant."""

from __future__ import annotations

import pytest
from talk import KEEPER, Side, Talk, heard, read, reset, write

from analysis.report.model import Report

VALUE, BLANK = "41 42 43 44 45 46", "FF FF FF FF FF FF"
UNITS = ("3A01", "3A02", "3A03")
SHEET = """
[[module]]
label = "PCU"
link = "7E0:7E8"
trims = [ { identifiers = "3A01-3A03", value = "414243444546" } ]
"""


def told(value: str, on: Side) -> list[Talk]:
    return [read(unit, value, on) for unit in UNITS]


def written(value: str = VALUE) -> list[Talk]:
    return [*(write(unit, value) for unit in UNITS), reset(), *(read(unit, value) for unit in UNITS)]


def severities(report: Report) -> list[str]:
    return [str(one.severity) for one in report.findings if one.id == "trims-default"]


def test_equal_values_that_nothing_vouches_for_are_a_default() -> None:
    assert severities(heard(*written())) == ["serious"]


def test_equal_values_that_the_sheet_gives_are_meant() -> None:
    assert severities(heard(*written(), sheet=SHEET)) == []


def test_equal_values_that_the_module_or_its_source_held_before_are_a_warning() -> None:
    assert severities(heard(*(read(unit, VALUE) for unit in UNITS), *written())) == ["warning"]
    assert severities(heard(*told(VALUE, KEEPER), *written())) == ["warning"]


def test_blanks_are_a_default_whoever_held_them() -> None:
    assert severities(heard(*told(BLANK, KEEPER), *written(BLANK))) == ["serious"]


def test_three_equal_values_of_four_are_not_said_to_be_two() -> None:
    values = {"3A01": VALUE, "3A02": VALUE, "3A03": VALUE, "3A04": "51 52 53 54 55 56"}
    report = heard([[write(unit, value), read(unit, value)] for unit, value in values.items()])
    (found,) = [one for one in report.findings if one.id == "trims-two-equal"]
    assert found.case.endswith("3A01-3A03 hold the same value.")
    said = f"{found.title} {found.explanation} {found.try_next}".lower()
    assert "two" not in said and "both" not in said


@pytest.mark.parametrize("flat", ["00 00 00 00 00 00", "20 20 20 20 20 20", "31 31 31 31 31 31"])
@pytest.mark.parametrize("units", [UNITS[:1], UNITS[:2]])
def test_one_byte_throughout_may_be_a_default_whoever_else_has_it(flat: str, units: tuple[str, ...]) -> None:
    report = heard([[write(unit, flat) for unit in units], reset(), [read(unit, flat) for unit in units]])
    assert severities(report) == ["warning"]
    (found,) = (one for one in report.findings if one.id == "trims-default")
    assert (str(found.confidence), "one byte throughout" in found.case) == ("low", True)


@pytest.mark.parametrize("value", ["00 00", "00 00 00 00 00 01", "02 01 00 00 00 00 00 00"])
def test_a_short_zero_or_a_record_that_tells_something_is_no_default(value: str) -> None:
    assert severities(heard(write("3A01", value), reset(), read("3A01", value))) == []


def test_one_byte_throughout_that_the_sheet_gives_or_the_module_held_is_meant() -> None:
    flat = "00 00 00 00 00 00"
    again: list[Talk] = [write("3A01", flat), reset(), read("3A01", flat)]
    assert severities(heard(*again, sheet=SHEET.replace("414243444546", "000000000000"))) == []
    assert severities(heard(read("3A01", flat), *again)) == []
