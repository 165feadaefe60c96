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


def test_a_refused_value_is_not_shown_as_written() -> None:
    table = rows("uds11-write-refused", "TRIMS AND CONFIGURATION")
    at = next(number for number, row in enumerate(table) if row.split()[0] == "3A03")
    assert "refused (22)" in table[at]
    assert table[at].endswith("failed")
    assert "still holds the factory default" in table[at + 1]
    found = [
        item["id"] for item in report("uds11-write-refused")["findings"] if "3A" in item["explanation"] + item["title"]
    ]
    assert found == ["write-refused-in-a-list"]
    assert [item["id"] for item in report("uds11-write-refused")["findings"]].count("conditions-not-correct") == 0
    assert report("uds11-write-refused")["verdict"]["next_steps"][0] == (
        "Find the condition that is missing (ignition, supply, session), then write 3A03 of PCU once and read it after "
        "an ignition cycle."
    )


@pytest.mark.parametrize(
    ("fixture", "sheet", "whole"),
    [
        ("coach-trims-not-read-back-lost", True, "9 values accepted, but not read since: 4A10-4A16, 4A1F, 4C20"),
        ("coach-trims-not-read-back-lost", False, "9 values accepted, but not read since: 4A10-4A16, 4A1F, 4C20"),
        ("coach-trims-exchanged", True, "4A12-4A13: stored as written, but not what the job sheet asks for"),
        ("van-trims-firing-order", True, "3102-3104: stored as written, but not what the job sheet asks for"),
    ],
)
def test_the_first_screen_says_the_whole_and_no_example(fixture: str, sheet: bool, whole: str) -> None:
    assert whole in section(fixture, "THE JOB", sheet=sheet)
    assert " of 2 " not in section(fixture, "THE JOB", sheet=sheet)


@pytest.mark.parametrize(
    ("fixture", "step"),
    [
        (
            "van-trims-firing-order",
            "Compare 3102-3104 of GEC with the labels on the parts, write each to its own place, cycle the ignition "
            "and read them back.",
        ),
        (
            "uds11-read-back-differs",
            "Compare 3A02 with the label on the part, write it to PCU once more, wait as the service information asks, "
            "cycle the ignition and read it.",
        ),
    ],
)
def test_a_step_about_a_value_is_one_plain_sentence(fixture: str, step: str) -> None:
    assert report(fixture)["verdict"]["next_steps"][0] == step


def test_each_check_erase_and_download_has_a_line_with_its_own_time() -> None:
    lines = [line.strip() for line in rows("coach-all-good", "TIMELINE  seconds from the start")]
    told = [
        (line, found[0]) for line in lines if (found := re.search(r"routine 0312|routine FF00|download|helper", line))
    ]
    assert [one for _, one in told] == ["helper", *["routine 0312", "routine FF00", "download"] * 2, "routine 0312"]
    times = [float(line.split()[0]) for line in lines]
    assert times == sorted(times)
    assert len({line.split()[0] for line, _ in told}) == len(told)


@pytest.mark.parametrize("said", ["seed and key, level 11", "hard reset (11 01)", "write F184 ("])
def test_the_timeline_calls_acts_by_plain_names(said: str) -> None:
    assert said in section("coach-all-good", "TIMELINE")


def test_questions_that_found_no_answer_share_one_line() -> None:
    told = [line for line in rows("uds11-reset-no-return", "TIMELINE  seconds from the start") if "no answer" in line]
    assert [" ".join(line.split()) for line in told] == ["7.433 PCU: asked 10 times until 37.894 s, no answer"]


def test_a_voltage_names_its_module_and_is_no_change() -> None:
    where = section("coach-module-silent", "WHERE IT BROKE")
    assert "DUC 27.2 V (line 2186)" in where
    assert "of DUC itself after it fell silent: not known" in where
    assert "F442" not in section("coach-module-silent", "WHAT READS DIFFERENTLY NOW")


def test_requests_to_all_modules_are_not_called_unanswered() -> None:
    assert "to all modules; the answers are counted at each module" in section("coach-all-good", "WHO TALKED")
