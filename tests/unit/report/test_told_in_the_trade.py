"""What people of the trade read in a report: whole, with the place, and nothing that says two things at once."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

from analysis import analyse
from analysis.report.contract import ReportDict
from analysis.report.text import render_text

FIXTURES = Path(__file__).parents[3] / "fixtures"
WIDTH = 100


@cache
def report(fixture: str, *, sheet: bool = True) -> ReportDict:
    world = fixture.partition("-")[0]
    job = FIXTURES / f"{world}.toml" if sheet else None
    return analyse(FIXTURES / fixture / "capture.log", job, [FIXTURES / f"{world}_names.toml"]).to_dict()


@cache
def page(fixture: str, *, sheet: bool = True) -> str:
    return render_text(report(fixture, sheet=sheet), WIDTH)


def section(fixture: str, title: str, *, sheet: bool = True) -> str:
    """One section in one line, words divided by single spaces; empty where it is missing."""
    found = re.search(rf"^{title}\b.*?(?=^[A-Z][A-Z ,?]+(?:  .*)?$|\Z)", page(fixture, sheet=sheet), re.M | re.S)
    return " ".join(found[0].split()) if found else ""


def rows(fixture: str, title: str, *, sheet: bool = True) -> list[str]:
    text = page(fixture, sheet=sheet).partition(f"\n{title}")[2]
    return text.partition("\n\n")[0].splitlines()[1:]


def test_what_was_read_stays_to_be_written_down_beside_a_sheet() -> None:
    with_sheet, without = (rows("coach-before-removal", "WHAT WAS READ", sheet=one) for one in (True, False))
    assert sorted(with_sheet) == sorted(without) != []
    assert "4A10 solenoid characterisation: 020126041" in section("coach-before-removal", "WHAT WAS READ")


def test_nobody_is_sent_to_program_the_module_that_leaves() -> None:
    steps = report("coach-before-removal")["verdict"]["next_steps"]
    assert steps[-1].startswith("Do the job itself on the module that stays")
    assert "on the new one" in steps[-1]


@pytest.mark.parametrize(
    ("fixture", "wrong"),
    [("coach-trims-exchanged", ("4A12", "4A13")), ("van-trims-firing-order", ("3102", "3103", "3104"))],
)
def test_a_trim_stored_in_the_wrong_place_is_nowhere_a_bare_confirmed(fixture: str, wrong: tuple[str, ...]) -> None:
    table = [row for row in rows(fixture, "TRIMS AND CONFIGURATION") if row.split()[0] in wrong]
    told = [row for row in table if "equal" in row]
    assert len(told) == len(wrong)
    assert all(row.endswith("failed") for row in told)
    why = section(fixture, "WHY")
    assert f"writes: {', '.join(wrong)} - failed: stored as written, but not what the job sheet asks for" in why
    assert "in another order" in section(fixture, "TRIMS AND CONFIGURATION")


def test_without_a_sheet_the_finding_stands_beside_the_value() -> None:
    table = rows("coach-trims-exchanged", "TRIMS AND CONFIGURATION", sheet=False)
    told = [row for row in table if row.split()[0] in ("4A12", "4A13") and "equal" in row]
    assert all(row.endswith("confirmed, but") for row in told)
    assert "the values are the right ones in another order" in " ".join(" ".join(table).split())
