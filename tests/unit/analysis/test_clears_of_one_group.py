"""A clear of one code or of one group, and the codes that it was not of. ISO 14229-1:2020, 11.2 and annex D.1 (M)."""

from __future__ import annotations

import pytest
from talk import Talk, ask, gap, heard, only, read

from analysis.report.model import Report

BOTH = ask("19 02 FF", "59 02 FF 123456 2F 930522 2F")
EMPTY = ask("19 02 FF", "59 02 FF")
OTHER = ask("19 02 FF", "59 02 FF 930522 2F")
ONE_CODE, GROUP, EMISSION = ask("14 123456", "54"), ask("14 400000", "54"), ask("14 FFFF33", "54")
KWP = (ask("10 85", "50 85"), ask("1A 90", "5A 90 31 4D 38 47"))


def told(*talk: Talk) -> Report:
    return heard(read("F190", "41"), *talk)


def returned(report: Report) -> list[str]:
    clear = only(report, "clear")
    has_finding = "dtc-returns" in {item.id for item in report.findings}
    assert has_finding is bool(clear.details["returned"])
    return clear.details["returned"]  # type: ignore[return-value]


def test_a_code_that_was_not_asked_to_be_cleared_does_not_come_back() -> None:
    report = told(BOTH, ONE_CODE, OTHER)
    assert returned(report) == []
    outcome = only(report, "clear").outcome
    assert outcome.word == "unproven"
    assert outcome.because[0] == "B1305-22 was not asked to be cleared (only 123456), and is listed after it"


def test_the_code_that_was_cleared_comes_back() -> None:
    report = told(BOTH, ONE_CODE, OTHER, gap(3), BOTH)
    assert returned(report) == ["P1234-56"]
    assert "dtc-returns" in {item.id for item in report.findings}


@pytest.mark.parametrize("clear", [GROUP, EMISSION], ids=["of the maker's choice", "emission system"])
def test_whether_a_group_holds_a_code_is_not_known(clear: Talk) -> None:
    report = told(BOTH, clear, OTHER)
    assert returned(report) == []
    assert "not of the group that was cleared" in only(report, "clear").outcome.because[0]


def test_a_code_that_was_gone_behind_the_clear_of_a_group_comes_back() -> None:
    assert returned(told(BOTH, GROUP, EMPTY, gap(3), OTHER)) == ["B1305-22"]


def test_a_clear_of_all_is_of_every_code() -> None:
    assert returned(told(BOTH, ask("14 FFFFFF", "54"), EMPTY, gap(3), OTHER)) == ["B1305-22"]


def test_the_groups_of_kwp2000_are_told_by_the_code() -> None:
    """4000 is chassis, 0000 powertrain. ISO 14230-3 (M)."""
    both, chassis = ask("18 00 FF 00", "58 02 1234 2F 5305 2F"), ask("18 00 FF 00", "58 01 5305 2F")
    kept = heard(*KWP, both, ask("14 00 00", "54 00 00"), chassis)
    assert returned(kept) == []
    assert "C1305 was not asked to be cleared (only 0000)" in only(kept, "clear").outcome.because[0]
    none = ask("18 00 FF 00", "58 00")
    assert returned(heard(*KWP, both, ask("14 40 00", "54 40 00"), none, gap(3), both)) == ["C1305"]
    assert returned(heard(*KWP, both, ask("14 FF 00", "54 FF 00"), none, gap(3), both)) == ["P1234", "C1305"]


def test_a_code_that_may_have_been_kept_did_not_come_back() -> None:
    report = told(OTHER, ask("14 FFFFFF", "54"), OTHER)
    assert returned(report) == []
    assert (
        only(report, "clear").outcome.because[0].endswith("is listed unchanged after the clear: kept, or back at once")
    )
    assert "comes back" not in report.verdict.headline and "B1305-22" in report.verdict.headline


def test_a_code_whose_status_began_anew_and_fails_came_back() -> None:
    """Confirmed before, failed and not yet confirmed behind: only a clear explains that."""
    report = told(ask("19 02 FF", "59 02 FF 930522 2F"), ask("14 FFFFFF", "54"), ask("19 02 FF", "59 02 FF 930522 27"))
    assert returned(report) == ["B1305-22"]


def test_a_clear_of_a_memory_of_its_own_is_of_no_code_of_the_main_one() -> None:
    assert returned(told(OTHER, ask("14 FFFFFF 01", "54"), EMPTY, gap(3), OTHER)) == []


def test_a_code_that_the_first_list_could_not_show_may_have_been_there() -> None:
    """Read for failing tests alone, it hides what is only stored."""
    failing = ask("19 02 01", "59 02 FF 123456 29")
    outcome = only(told(failing, ONE_CODE, ask("19 02 FF", "59 02 FF 930522 28")), "clear").outcome
    assert outcome.word == "unproven"
    assert outcome.because[0].startswith("B1305-22 ")
    stored = only(told(failing, ask("14 FFFFFF", "54"), ask("19 02 FF", "59 02 FF 930522 28")), "clear").outcome
    assert stored.because == ("B1305-22 stands after the clear; not known whether it was there before",)


def test_a_code_that_a_whole_list_did_not_hold_before_is_said_to_be_new() -> None:
    outcome = only(told(EMPTY, ask("14 FFFFFF", "54"), OTHER), "clear").outcome
    assert outcome.word == "unproven"
    assert outcome.because[0].startswith("B1305-22 stands after the clear, and was not listed before it")
