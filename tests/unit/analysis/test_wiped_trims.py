"""Good records overwritten with blanks: said first, with the place where the old values stand."""

from __future__ import annotations

from talk import KEEPER, Talk, heard, read, reset, write

from analysis.report.lines import Lines
from analysis.report.model import Report
from analysis.trims.page import tell_trims
from analysis.trims.sheet import trim_sheets

GOOD, OTHER, BLANK, ZEROS = "41 42 43 44 45 46", "41 42 43 44 45 99", "FF FF FF FF FF FF", "00 00 00 00 00 00"


def overwritten(before: str, new: str) -> list[Talk]:
    return [read("3A01", before), write("3A01", new), reset(), read("3A01", new)]


def ids(report: Report) -> list[str]:
    return [one.id for one in report.findings]


def page_of(report: Report) -> str:
    page = Lines(100, color=False)
    tell_trims(page, trim_sheets(report), 1)
    return str(page)


def test_it_is_said_first_and_once() -> None:
    for blank in (BLANK, ZEROS):
        report = heard(read("3A01", blank, KEEPER), overwritten(GOOD, blank))
        assert ids(report).count("trims-overwritten") == 1
        assert "trims-default" not in ids(report)
        (found,) = [one for one in report.findings if one.id == "trims-overwritten"]
        assert "wrong direction" in found.case
        assert "stand in this recording" in found.case
        assert "ood records were overwritten with blanks" in report.verdict.headline
        assert report.verdict.next_steps[0].startswith("Write 3A01")


def test_the_old_value_stands_on_the_trims_page_with_a_warning() -> None:
    text = page_of(heard(overwritten(GOOD, BLANK)))
    assert "overwritten with a blank" in text
    assert "414243444546" in text


def test_no_word_says_that_such_a_record_was_never_written() -> None:
    report = heard(overwritten(GOOD, BLANK))
    assert "never written" not in page_of(report)
    assert "never written" not in str([one.notes for one in report.trims])


def test_look_alikes_are_silent() -> None:
    for talk in (overwritten(BLANK, BLANK), overwritten(GOOD, OTHER), overwritten(BLANK, GOOD)):
        assert "trims-overwritten" not in ids(heard(talk))
    back = [*overwritten(GOOD, BLANK), write("3A01", GOOD), reset(), read("3A01", GOOD)]
    assert "trims-overwritten" not in ids(heard(back))
    refused = heard(read("3A01", GOOD), write("3A01", BLANK, answer="7F 2E 31"), read("3A01", GOOD))
    assert "trims-overwritten" not in ids(refused)
    assert "overwritten with a blank" not in page_of(refused)
