"""What a reading of the fault memory behind a clear says. ISO 14229-1:2020, 12.3 and annex D.2 (M)."""

from __future__ import annotations

from talk import Talk, ask, gap, heard, only, read

from analysis.report.model import Report

CLEAR = ask("14 FFFFFF", "54")
EMPTY = ask("19 02 FF", "59 02 FF")
STORED = ask("19 02 FF", "59 02 FF 123456 2F")
OTHER_ACTIVE = ask("19 02 FF", "59 02 FF 930522 09")


def told(*talk: Talk) -> Report:
    return heard(read("F190", "41"), *talk)


def reason(report: Report) -> str:
    return only(report, "clear").outcome.because[0]


def test_a_new_active_fault_behind_the_clear_reaches_the_headline_and_a_step() -> None:
    report = told(STORED, CLEAR, OTHER_ACTIVE)
    assert only(report, "clear").outcome.word == "confirmed"
    assert "B1305-22" in report.verdict.headline
    assert "active at the last reading (line" in report.verdict.headline
    assert any("cause of the fault" in step and "B1305-22" in step for step in report.verdict.next_steps)


def test_a_fault_that_is_gone_at_the_last_reading_is_not_said_to_be_active() -> None:
    report = told(STORED, CLEAR, OTHER_ACTIVE, gap(1), EMPTY)
    assert "fault-active" not in {item.id for item in report.findings}


def test_an_active_fault_that_was_read_before_anything_was_done_is_no_finding() -> None:
    assert "fault-active" not in {item.id for item in told(OTHER_ACTIVE).findings}
    assert "fault-active" not in {item.id for item in told(OTHER_ACTIVE, CLEAR).findings}


def test_a_code_that_comes_back_is_said_once() -> None:
    ids = [item.id for item in told(STORED, CLEAR, EMPTY, gap(3), STORED).findings]
    assert ids.count("dtc-returns") == 1
    assert "fault-active" not in ids


def test_a_code_without_an_earlier_reading_is_not_called_unchanged() -> None:
    report = told(CLEAR, OTHER_ACTIVE)
    assert reason(report) == "B1305-22 stands after the clear; not known whether it was there before"
    assert not any(step.startswith("Read the fault memory") for step in report.verdict.next_steps)
    assert any("cause of the fault" in step and "B1305-22" in step for step in report.verdict.next_steps)


def test_a_stored_code_that_is_not_active_has_a_step_of_its_own() -> None:
    report = told(CLEAR, ask("19 02 FF", "59 02 FF 930522 08"))
    assert any("B1305-22" in step for step in report.verdict.next_steps)
    assert not any(step.startswith("Read the fault memory") for step in report.verdict.next_steps)


def test_a_code_that_stays_is_named() -> None:
    assert reason(told(STORED, CLEAR, STORED)).startswith("P1234-56 is listed unchanged after the clear")


def test_a_mask_that_covers_no_confirmed_code_is_named() -> None:
    asked = told(CLEAR, ask("19 02 04", "59 02 FF"))
    assert "read with mask 04, which does not cover confirmed codes (line" in reason(asked)
    available = told(CLEAR, ask("19 02 FF", "59 02 00"))
    assert "read with mask 00, which does not cover confirmed codes (line" in reason(available)


def test_a_mask_that_covers_other_codes_than_the_earlier_is_named() -> None:
    report = told(ask("19 02 08", "59 02 FF 123456 28"), CLEAR, ask("19 02 01", "59 02 FF"))
    assert "read with mask 01, which does not cover the earlier codes (line" in reason(report)


def test_after_too_narrow_a_mask_the_step_names_all_status_bits() -> None:
    narrow = told(CLEAR, ask("19 02 04", "59 02 FF"))
    assert [step for step in narrow.verdict.next_steps if "19 02 FF" in step]
    assert "19 02 FF" in only(narrow, "clear").outcome.would_change
    for report in (told(CLEAR), told(CLEAR, ask("19 02 FF", "59 02 00"))):  # look-alikes: the mask was not the trouble
        assert [step for step in report.verdict.next_steps if "(19 02)" in step]
        assert "FF" not in only(report, "clear").outcome.would_change


def test_never_read_is_still_said_to_be_never_read() -> None:
    assert reason(told(STORED, CLEAR)) == "clearing was accepted; the memory was not read since"


def test_a_clear_behind_which_a_code_came_back_says_so_first() -> None:
    report = told(STORED, CLEAR, EMPTY, gap(3), STORED)
    because = only(report, "clear").outcome.because
    assert because[0] == "cleared, and P1234-56 came back, active at the last reading"
    assert because[1].startswith("read after the clear: no codes")
    assert report.verdict.parts["fault_memory"].because[0].endswith(because[0])


def test_a_code_that_came_back_and_is_only_stored_is_not_called_active() -> None:
    stored_only = ask("19 02 FF", "59 02 FF 123456 28")
    assert reason(told(STORED, CLEAR, EMPTY, gap(3), stored_only)) == "cleared, and P1234-56 came back"
    assert "active" not in told(STORED, CLEAR, EMPTY, gap(3), stored_only).verdict.headline


def test_a_code_that_came_back_and_is_gone_again_is_still_told() -> None:
    report = told(STORED, CLEAR, EMPTY, gap(3), STORED, gap(1), EMPTY)
    assert reason(report) == "cleared, and P1234-56 came back; it was gone at the last reading"


def test_a_code_that_is_not_tested_since_the_clear_did_not_come_back() -> None:
    report = told(STORED, CLEAR, ask("19 02 FF", "59 02 FF 123456 50"))
    assert "came back" not in reason(report)
    assert only(report, "clear").details["returned"] == []


def test_a_list_without_status_bits_says_listed_and_not_active() -> None:
    """Codes of 03 are confirmed ones, and say nothing of the last test (SAE J1979 (M))."""
    stored = ask("03", "43 01 0143")
    report = told(stored, ask("04", "44"), ask("03", "43 00"), gap(3), stored)
    assert reason(report) == "cleared, and P0143 came back, listed at the last reading"
    assert "active" not in report.verdict.headline


def test_one_code_read_in_two_forms_is_told_once() -> None:
    both = [ask("19 02 FF", "59 02 FF 123456 2F"), ask("03", "43 01 1234")]
    report = told(both, CLEAR, EMPTY, ask("03", "43 00"), gap(3), both)
    assert "P1234-56 came back" in reason(report)
    assert "P1234," not in report.verdict.headline and "P1234-56" in report.verdict.headline
