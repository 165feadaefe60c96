"""Codes that were read stand in the report, in a scan as well as in a job."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis import analyse
from analysis.report.text import render_text

FIXTURES = Path(__file__).parents[3] / "fixtures"
CAPTURES = sorted([*FIXTURES.glob("*/capture.*"), *FIXTURES.glob("real/*.asc"), *FIXTURES.glob("real/*.csv")], key=str)


def page(name: str) -> str:
    world = name.partition("-")[0]
    report = analyse(FIXTURES / name / "capture.log", None, [FIXTURES / f"{world}_names.toml"])
    return " ".join(render_text(report.to_dict(), color=False).split())


def test_a_scan_shows_the_codes_that_it_read() -> None:
    assert "fault codes: P17A3-96, status 2F (failed now, pending, confirmed)" in page("coach-before-removal")
    assert "fault codes: no codes" in page("coach-before-removal")


def test_a_job_shows_the_codes_before_and_behind() -> None:
    text = page("uds11-dtc-returns")
    assert "FAULT CODES THAT WERE READ" in text
    assert "PCU, first: " in text and "PCU, last: " in text


def test_a_job_without_a_code_has_no_section_about_codes() -> None:
    assert "FAULT CODES THAT WERE READ" not in page("uds11-all-good")


@pytest.mark.parametrize("path", CAPTURES, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_no_code_at_the_first_or_last_reading_is_kept_back(path: Path) -> None:
    report = analyse(path).to_dict()
    text = render_text(report, color=False)
    lists = [item for item in report["operations"] if item["kind"] == "read-faults" and item["details"]["mask"]]
    for link in {item["link"] for item in lists}:
        codes = [item["details"]["codes"] for item in lists if item["link"] == link][-1]
        assert all(one["code"] in text for one in codes)  # type: ignore[attr-defined, index]


@pytest.mark.parametrize("name", ["kwp-dtc-returns", "uds11-dtc-returns", "gmw-dtc-returns"])
def test_a_code_that_came_back_stands_beside_the_word_and_the_item_of_the_sheet(name: str) -> None:
    world = name.partition("-")[0]
    sheet, names = FIXTURES / f"{world}.toml", FIXTURES / f"{world}_names.toml"
    text = render_text(analyse(FIXTURES / name / "capture.log", sheet, [names]).to_dict(), color=False)
    first, _, rest = text.partition("THE JOB ")
    job, _, rest = rest.partition("WHAT TO DO NEXT")
    items = rest.partition("THE JOB SHEET")[2].partition("FAULT CODES THAT WERE READ")[0]
    assert "comes back after clearing" in " ".join(first.split())
    assert "came back" in " ".join(job.split())
    assert "came back" in " ".join(items.split())


def test_a_clear_behind_which_nothing_came_back_has_no_such_line() -> None:
    assert "came back" not in page("kwp-all-good")
