"""What to do next is short, ordered and said once."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis import analyse
from analysis.checks.finding import Finding
from analysis.next_steps import MOST_STEPS, next_steps
from analysis.words import Confidence, Evidence, Severity

FIXTURES = Path(__file__).parents[3] / "fixtures"


def finding(*steps: str, severity: Severity = Severity.SERIOUS, comes_first: bool = False) -> Finding:
    shown = (Evidence(1, (1,), "a line"),)
    return Finding("seen", severity, Confidence.HIGH, "Seen", "", steps, (), (), shown, "none", comes_first)


def test_what_comes_first_stands_first() -> None:
    found = [finding("Leave it powered."), finding("Support the supply.", comes_first=True)]
    assert next_steps(found, [], [], is_confirmed=False) == ("Support the supply.", "Leave it powered.")


def test_one_serious_finding_may_say_more_than_one_of_many() -> None:
    one = finding("A.", "B.", "C.", "D.")
    assert next_steps([one], [], [], is_confirmed=False) == ("A.", "B.", "C.")
    assert next_steps([one, finding("E.", "F.")], [], [], is_confirmed=False) == ("A.", "E.")


def test_notes_advise_nothing_and_warnings_one_thing() -> None:
    found = [finding("A.", "B.", severity=Severity.WARNING), finding("C.", severity=Severity.NOTE)]
    assert next_steps(found, [], [], is_confirmed=False) == ("A.",)


def test_single_readings_become_one_step() -> None:
    wishes = [f"read {one:04X} after an ignition cycle and capture it" for one in (0x4A10, 0x4A11, 0x4A12, 0x4C20)]
    assert next_steps([], wishes, [], is_confirmed=False) == (
        "Read 4A10-4A12, 4C20 after an ignition cycle and capture it.",
    )


def test_readings_that_a_finding_asks_for_are_not_asked_for_again() -> None:
    found = [finding("Read 4A10-4A11 after an ignition cycle and capture it.", severity=Severity.WARNING)]
    wishes = ["read 4A10 after an ignition cycle and capture it"]
    assert len(next_steps(found, wishes, [], is_confirmed=False)) == 1


def test_the_list_is_short_and_what_is_missing_stands_last() -> None:
    found = [finding(f"Step {number}.") for number in range(9)]
    steps = next_steps(found, ["x"], ["trims"], is_confirmed=False)
    assert len(steps) == MOST_STEPS
    assert steps[-1] == "Do what the job sheet asks and no capture shows yet: trims."


def test_a_confirmed_job_hears_of_serious_findings_only() -> None:
    found = [finding("A."), finding("B.", severity=Severity.WARNING)]
    assert next_steps(found, ["x"], ["trims"], is_confirmed=True) == ("A.",)


@pytest.mark.parametrize(
    ("fixture", "first", "also"),
    [
        ("coach-erase-low-voltage", "Connect a support unit", "Leave DUC powered"),
        ("coach-next-day", "Leave DUC powered", "Program it again from the session on"),
        ("coach-trims-not-read-back-stored", "Read 4A10-4A16, 4A1F, 4C20 after an ignition cycle", ""),
        ("coach-module-silent", "Leave the module powered", "3E 00"),
        ("coach-ends-mid-transfer", "Look for the rest of the recording", "again from the programming session"),
        ("coach-foreign-keeper", "Find out whose part VBM is", ""),
        ("coach-before-removal", "Nothing was attempted: write down the values", ""),
    ],
)
def test_the_demo_says_the_right_thing_first(fixture: str, first: str, also: str) -> None:
    path = FIXTURES / fixture / "capture.log"
    steps = analyse(path, FIXTURES / "coach.toml", [FIXTURES / "coach_names.toml"]).verdict.next_steps
    assert steps[0].startswith(first)
    assert any(also in step for step in steps)
    assert len(steps) <= MOST_STEPS


def test_a_good_job_has_nothing_to_do_next() -> None:
    path = FIXTURES / "coach-all-good" / "capture.log"
    assert analyse(path, FIXTURES / "coach.toml", [FIXTURES / "coach_names.toml"]).verdict.next_steps == ()
