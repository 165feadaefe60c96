"""Codes that are told behind a clear by other requests than 19 02. ISO 14229-1:2020, 12.3 (M); ISO 14230-3 (M)."""

from __future__ import annotations

import pytest
from talk import Talk, ask, gap, heard, only, read

from analysis.operations.model import Operation
from analysis.report.model import Report

CLEAR = ask("14 FFFFFF", "54")
EMPTY = ask("19 02 FF", "59 02 FF")
STORED = ask("19 02 FF", "59 02 FF 123456 2F")
#: Requests that pick some codes of the main memory, with the answer that picks P1234-56, failed and confirmed.
PICKS = {
    "snapshot of a code": ask("19 04 123456 FF", "59 04 123456 2F 01 00"),
    "extended data of a code": ask("19 06 123456 FF", "59 06 123456 2F 01 01"),
    "by severity": ask("19 08 FF FF", "59 08 FF 20 01 123456 2F"),
    "severity of a code": ask("19 09 123456", "59 09 FF 20 01 123456 2F"),
    "first that failed": ask("19 0B", "59 0B FF 123456 2F"),
    "first confirmed": ask("19 0C", "59 0C FF 123456 2F"),
    "last that failed": ask("19 0D", "59 0D FF 123456 2F"),
    "last confirmed": ask("19 0E", "59 0E FF 123456 2F"),
    "emission codes": ask("19 13 FF", "59 13 FF 123456 2F"),
    "with extended data": ask("19 1A 01", "59 1A FF 01 123456 2F"),
    "WWH-OBD": ask("19 42 33 FF FF", "59 42 33 FF FF 04 20 123456 2F"),
    "readiness group": ask("19 56 33 01", "59 56 33 FF 04 01 123456 2F"),
}
KWP = (ask("10 85", "50 85"), ask("1A 90", "5A 90 31 4D 38 47"))
KWP_CLEAR = ask("14 FF 00", "54 FF 00")
KWP_STORED, KWP_EMPTY = ask("18 00 FF 00", "58 01 1234 2F"), ask("18 00 FF 00", "58 00")


def told(*talk: Talk) -> Report:
    return heard(read("F190", "41"), *talk)


def cleared(*talk: Talk) -> Operation:
    return only(told(*talk), "clear")


def kwp(*talk: Talk) -> Operation:
    return only(heard(*KWP, *talk), "clear")


@pytest.mark.parametrize("pick", PICKS.values(), ids=PICKS)
def test_a_code_that_any_form_tells_behind_an_empty_list_came_back(pick: Talk) -> None:
    report = told(STORED, CLEAR, EMPTY, gap(3), pick)
    clear = only(report, "clear")
    assert clear.outcome.because[0] == "cleared, and P1234-56 came back, active at the last reading"
    assert clear.details["returned"] == clear.details["after"] == ["P1234-56"]
    assert "dtc-returns" in {item.id for item in report.findings}


@pytest.mark.parametrize("pick", PICKS.values(), ids=PICKS)
def test_a_code_that_any_form_tells_as_before_leaves_the_clear_unproven(pick: Talk) -> None:
    clear = cleared(STORED, CLEAR, pick)
    assert (clear.outcome.word, clear.outcome.confidence) == ("unproven", "medium")
    assert clear.outcome.because[0].startswith("P1234-56 is listed unchanged after the clear")


@pytest.mark.parametrize("pick", PICKS.values(), ids=PICKS)
def test_a_code_told_behind_a_clear_without_a_list_before_it_is_named(pick: Talk) -> None:
    clear = cleared(CLEAR, pick)
    assert clear.outcome.word == "unproven"
    assert clear.outcome.because[0].startswith("P1234-56 stands after the clear")


@pytest.mark.parametrize("pick", PICKS.values(), ids=PICKS)
def test_what_picks_some_codes_proves_no_clear(pick: Talk) -> None:
    """Not tested since the clear, as any code may be then: no word against it, and none for it."""
    fresh = cleared(STORED, CLEAR, _with_status(pick, 0x50))
    assert fresh.outcome.word == "unproven"
    assert cleared(STORED, CLEAR, EMPTY, _with_status(pick, 0x50)).outcome.word == "confirmed"


def _with_status(pick: Talk, status: int) -> Talk:
    """The same answer with another status behind the code."""
    question, answer = pick  # type: ignore[misc]
    frames = tuple(
        type(one)(one.can_id, one.data.replace(b"\x2f", bytes([status])), one.channel)
        for one in answer.frames  # type: ignore[union-attr]
    )
    return [question, type(answer)(frames)]  # type: ignore[call-arg,list-item]


@pytest.mark.parametrize(
    "answer", ["59 0E FF", "59 42 33 FF FF 04", "59 60 FF", "59 03", "59 14", "59 17 01 FF", "59 0F FF"]
)
def test_an_empty_answer_of_another_form_proves_nothing(answer: str) -> None:
    asked = {"0E": "19 0E", "42": "19 42 33 FF FF", "60": "19 60", "03": "19 03", "14": "19 14", "17": "19 17 FF 01",
             "0F": "19 0F FF"}[answer[3:5]]  # fmt: skip
    assert cleared(STORED, CLEAR, ask(asked, answer)).outcome.word == "unproven"


@pytest.mark.parametrize(
    "other",
    [ask("19 55 33", "59 55 33 FF 04 123456 2F"), ask("19 15", "59 15 FF 123456 2F")],
    ids=["WWH-OBD permanent", "permanent"],
)
def test_permanent_codes_are_told_and_do_not_speak_against_the_clear(other: Talk) -> None:
    clear = cleared(STORED, CLEAR, EMPTY, other)
    assert (clear.outcome.word, clear.outcome.confidence) == ("confirmed", "high")
    assert "P1234-56: permanent" in clear.outcome.because[-1]


@pytest.mark.parametrize(
    "other",
    [ask("19 0F FF", "59 0F FF 123456 2F"), ask("19 17 FF 01", "59 17 01 FF 123456 2F")],
    ids=["mirror memory", "memory of its own"],
)
def test_another_memory_says_nothing_of_the_clear(other: Talk) -> None:
    clear = cleared(STORED, CLEAR, EMPTY, other)
    assert (clear.outcome.word, clear.details["returned"]) == ("confirmed", [])


def test_a_code_that_one_form_tells_is_in_the_memory_that_an_empty_list_shows_clear() -> None:
    assert cleared(PICKS["last confirmed"], CLEAR, EMPTY).outcome.word == "confirmed"


def test_a_code_that_one_form_told_before_is_compared_with_the_list_behind() -> None:
    clear = cleared(PICKS["last confirmed"], CLEAR, STORED)
    assert clear.outcome.because[0].startswith("P1234-56 is listed unchanged after the clear")
    other = cleared(PICKS["last confirmed"], CLEAR, ask("19 02 FF", "59 02 FF 930522 28"))
    assert other.outcome.word == "unproven"  # it may have been there as well


def test_what_another_form_picks_does_not_say_that_the_rest_is_gone() -> None:
    """The last confirmed code is another one: the first may stand beside it."""
    other = ask("19 0E", "59 0E FF 930522 2F")
    clear = cleared(STORED, CLEAR, EMPTY, gap(3), STORED, other)
    assert clear.outcome.because[0] == "cleared, and P1234-56 came back, active at the last reading"


@pytest.mark.parametrize("mask", ["08", "FF"])
def test_a_count_that_contradicts_the_empty_list_makes_the_clear_less_sure(mask: str) -> None:
    report = told(STORED, CLEAR, EMPTY, ask(f"19 01 {mask}", "59 01 FF 01 0002"))
    outcome = only(report, "clear").outcome
    assert (outcome.word, outcome.confidence) == ("confirmed", "medium")
    assert any(f"19 01 {mask} counts 2 codes (line" in text and "19 02 lists none" in text for text in outcome.because)
    assert "fault-count-disagrees" in {item.id for item in report.findings}


@pytest.mark.parametrize(
    "listed",
    [EMPTY, ask("19 02 FF", "59 02 FF 123456 50 930522 50")],
    ids=["none", "not tested since"],
)
def test_a_count_that_agrees_with_the_list_takes_nothing_from_the_clear(listed: Talk) -> None:
    count = "0000" if listed is EMPTY else "0002"
    report = told(STORED, CLEAR, listed, ask("19 01 FF", f"59 01 FF 01 {count}"), ask("19 01 08", "59 01 FF 01 0000"))
    assert (only(report, "clear").outcome.word, only(report, "clear").outcome.confidence) == ("confirmed", "high")
    assert "fault-count-disagrees" not in {item.id for item in report.findings}


def test_a_count_of_stored_codes_alone_is_told() -> None:
    assert "19 01 08 counts 2 codes" in cleared(STORED, CLEAR, ask("19 01 08", "59 01 FF 01 0002")).outcome.because[0]
    untested = cleared(STORED, CLEAR, ask("19 01 FF", "59 01 FF 01 0002"))  # those not tested since are counted as well
    assert untested.outcome.word == "unproven"


def test_the_legacy_lists_of_kwp2000_are_read() -> None:
    legacy, none = ask("13 FF 00", "53 01 1234"), ask("13 FF 00", "53 00")
    assert kwp(legacy, KWP_CLEAR, none).outcome.word == "confirmed"
    assert kwp(legacy, KWP_CLEAR, legacy).outcome.because[0].startswith("P1234 is listed unchanged after the clear")
    back = kwp(KWP_STORED, KWP_CLEAR, KWP_EMPTY, gap(3), legacy)
    assert back.outcome.because[0] == "cleared, and P1234 came back, listed at the last reading"


def test_the_status_of_one_code_of_kwp2000_is_told_and_proves_nothing_of_the_others() -> None:
    one, gone = ask("17 12 34", "57 01 1234 2F"), ask("17 12 34", "57 00")
    assert kwp(KWP_STORED, one, KWP_CLEAR, gone).outcome.word == "unproven"
    back = kwp(KWP_STORED, KWP_CLEAR, KWP_EMPTY, gap(3), one)
    assert back.outcome.because[0] == "cleared, and P1234 came back, listed at the last reading"


def test_a_list_of_another_group_of_kwp2000_proves_nothing_of_the_rest() -> None:
    chassis = ask("18 00 40 00", "58 00")
    assert kwp(KWP_STORED, chassis, KWP_CLEAR, chassis).outcome.word == "unproven"


def test_a_code_that_is_listed_by_another_mask_of_kwp2000_is_not_said_to_be_of_another_memory() -> None:
    clear = kwp(ask("18 02 FF 00", "58 01 1234 2F"), KWP_CLEAR, KWP_STORED)
    assert clear.outcome.because[0].startswith("P1234 is listed unchanged after the clear")


def test_picked_codes_have_a_line_of_their_own_in_the_report() -> None:
    report = told(STORED, CLEAR, EMPTY, PICKS["last confirmed"]).to_dict()
    from analysis.report.text import render_text

    page = render_text(report)
    assert "asked for some codes only" in page
    assert "last: no codes" in page  # of the whole list, beside it


@pytest.mark.parametrize(
    ("asked", "answer"),
    [
        ("19 03", "59 03 123456 01"),
        ("19 01 FF", "59 01 FF 01 0000"),
        ("19 17 FF 01", "59 17 01 FF"),
        ("19 60", "59 60"),
    ],
)
def test_a_reading_that_lists_no_codes_of_the_memory_is_not_called_none(asked: str, answer: str) -> None:
    because = cleared(STORED, CLEAR, ask(asked, answer)).outcome.because
    assert because[0].startswith(f"clearing was accepted; {asked[:5]} (line")
    assert because[0].endswith("was read since, which does not list the codes of this memory")
