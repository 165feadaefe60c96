"""GMW3110, A2: a module that says its memory is not in order, although the new identification is read behind it."""

from __future__ import annotations

from pathlib import Path

from analysis.job import analyse
from analysis.report.as_json import report_dict
from analysis.report.text import render_text
from analysis.words import Word

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
REPORT = analyse(FIXTURES / "gmw-state-bad" / "capture.log", FIXTURES / "gmw.toml", [FIXTURES / "gmw_names.toml"])


def test_the_sheet_shows_what_was_read_and_that_the_module_says_otherwise() -> None:
    software = next(item for item in REPORT.expectations if item.item == "LGU: software")
    assert (software.word, software.found) == (Word.FAILED, "01406509")
    assert software.note == "found 01406509, but the module's own state says otherwise"
    assert "own state" in software.evidence[0].text


def test_a_helper_program_is_not_judged_by_the_state_of_the_parts() -> None:
    helpers = [item for item in REPORT.operations if item.details.get("driver")]
    assert helpers and all(item.outcome.word not in (Word.FAILED, Word.INTERRUPTED) for item in helpers)
    parts = [item for item in REPORT.operations if item.details.get("driver") is False]
    assert parts and all(item.outcome.word is Word.FAILED for item in parts)


def test_a_good_state_proves_no_helper_program() -> None:
    good = analyse(FIXTURES / "gmw-all-good" / "capture.log", None, [FIXTURES / "gmw_names.toml"])
    words = [(item.details["driver"], item.outcome.word) for item in good.operations if "driver" in item.details]
    assert words == [(True, Word.UNPROVEN), (False, Word.CONFIRMED), (False, Word.CONFIRMED)]


def test_faults_last_read_before_the_programming_say_so() -> None:
    text = render_text(report_dict(REPORT))
    assert "LGU, last, before the programming: P127A" in text
