"""Stored, pending and permanent codes of emission diagnostics, and the count of parameter 01. SAE J1979 (M)."""

from __future__ import annotations

import pytest
from talk import Talk, ask, gap, heard, of_kind, only

from analysis.exchange_words import tell
from analysis.report.model import Report
from analysis.report.text import render_text

STORED = ask("03", "43 01 012D")
NONE_STORED = ask("03", "43 00")
PENDING = ask("07", "47 01 0420")
NONE_PENDING = ask("07", "47 00")
PERMANENT = ask("0A", "4A 01 012D")
CLEAR = ask("04", "44")
LAMP_ON = ask("01 01", "41 01 81 07 65 00")
LAMP_OFF = ask("01 01", "41 01 00 07 65 00")


def told(*talk: Talk) -> Report:
    return heard(ask("09 00", "49 00 14 40 00 00"), *talk)


def page(report: Report) -> str:
    return " ".join(render_text(report.to_dict(), color=False).split())


def codes(report: Report) -> list[tuple[object, list[str]]]:
    lists = of_kind(report, "read-faults")
    return [(item.details["listed"], [one["code"] for one in item.details["codes"]]) for item in lists]  # type: ignore[attr-defined]


def ids(report: Report) -> set[str]:
    return {item.id for item in report.findings}


def test_each_list_is_read_for_what_it_is() -> None:
    report = told(STORED, PENDING, PERMANENT)
    assert codes(report) == [("stored", ["P012D"]), ("pending", ["P0420"]), ("permanent", ["P012D"])]


def test_an_answer_whose_count_does_not_fit_lists_nothing() -> None:
    assert codes(told(ask("07", "47 02 0420"))) == [(None, [])]


def test_the_walk_names_codes_without_a_status_that_nobody_sent() -> None:
    record = told(STORED, PENDING, PERMANENT, NONE_PENDING).record
    said = [tell(one, "", record) for one in record.exchanges[1:]]
    assert [text.rpartition(": ")[2] for text in said] == ["P012D", "P0420", "P012D", "no codes"]


def test_a_scan_shows_the_three_lists_apart() -> None:
    text = page(told(STORED, PENDING, PERMANENT))
    assert "fault codes: P012D" in text
    assert "pending codes: P0420" in text
    assert "permanent codes: P012D" in text


def test_behind_a_clear_the_lists_stand_apart() -> None:
    text = page(told(STORED, PENDING, CLEAR, NONE_STORED, NONE_PENDING, PERMANENT))
    assert "first: P012D" in text and "last: no codes" in text
    assert "pending, first: P0420" in text and "pending, last: no codes" in text
    assert "permanent, read once: P012D" in text and "a clear does not take them away" in text


def test_an_empty_list_behind_a_clear_confirms_it() -> None:
    outcome = only(told(STORED, CLEAR, NONE_STORED, NONE_PENDING), "clear").outcome
    assert (outcome.word, outcome.confidence) == ("confirmed", "high")


def test_a_pending_code_behind_a_clear_makes_it_less_sure_and_is_named() -> None:
    for before in ([STORED], [STORED, PENDING]):
        outcome = only(told(*before, CLEAR, NONE_STORED, PENDING), "clear").outcome
        assert (outcome.word, outcome.confidence) == ("confirmed", "medium")
        assert "P0420 is pending (07)" in " ".join(outcome.because)
        assert "P0420" in outcome.would_change


def test_a_pending_code_that_is_gone_at_the_last_reading_takes_nothing_away() -> None:
    outcome = only(told(STORED, CLEAR, NONE_STORED, PENDING, gap(1), NONE_PENDING), "clear").outcome
    assert outcome.confidence == "high"


def test_an_empty_list_of_pending_codes_alone_proves_no_clear() -> None:
    outcome = only(told(STORED, CLEAR, NONE_PENDING), "clear").outcome
    assert outcome.word == "unproven"


def test_a_pending_code_is_named_also_where_nothing_proves_the_clear() -> None:
    outcome = only(told(STORED, CLEAR, PENDING), "clear").outcome
    assert outcome.word == "unproven"
    assert "P0420 is pending (07)" in " ".join(outcome.because)


def test_permanent_codes_do_not_speak_against_a_clear() -> None:
    outcome = only(told(STORED, PERMANENT, CLEAR, NONE_STORED, PERMANENT), "clear").outcome
    assert (outcome.word, outcome.confidence) == ("confirmed", "high")
    assert any("P012D" in text and "stays by design" in text for text in outcome.because)


def test_an_empty_list_of_permanent_codes_proves_no_clear() -> None:
    assert only(told(STORED, CLEAR, ask("0A", "4A 00")), "clear").outcome.word == "unproven"


def test_a_count_that_contradicts_the_empty_list_makes_a_clear_less_sure_and_is_a_finding() -> None:
    report = told(STORED, CLEAR, NONE_STORED, LAMP_ON)
    outcome = only(report, "clear").outcome
    assert (outcome.word, outcome.confidence) == ("confirmed", "medium")
    assert any("01 01" in text and "1 stored code" in text for text in outcome.because)
    assert "fault-count-disagrees" in ids(report)
    assert any("03" in step for step in report.verdict.next_steps)


@pytest.mark.parametrize(
    "talk",
    [
        (STORED, LAMP_ON, CLEAR, NONE_STORED, LAMP_OFF),
        (STORED, LAMP_ON, CLEAR, NONE_STORED),
        (LAMP_ON, CLEAR, NONE_STORED),
        (STORED, CLEAR, NONE_STORED, ask("01 01", "41 01 80 07 65 00")),
        (STORED, CLEAR, NONE_STORED, ask("01 0C", "41 0C 81 07")),
        (STORED, CLEAR, NONE_STORED, LAMP_ON, gap(1), NONE_STORED, LAMP_OFF),
    ],
    ids=["both before and both behind", "counted before alone", "no list before", "lamp alone", "other", "settled"],
)
def test_a_count_that_fits_the_list_beside_it_is_no_finding(talk: tuple[Talk, ...]) -> None:
    report = told(*talk)
    assert "fault-count-disagrees" not in ids(report)
    assert only(report, "clear").outcome.confidence == "high"


def test_a_list_longer_than_its_count_is_a_finding_in_a_scan() -> None:
    assert "fault-count-disagrees" in ids(told(STORED, LAMP_OFF))
    assert "fault-count-disagrees" not in ids(told(STORED, LAMP_ON))
