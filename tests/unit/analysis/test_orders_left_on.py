"""Orders to keep quiet and to store no faults, in every dialect: which stand at the end, and what ends them.

UDS: ISO 14229-1:2020, 10.5 and 10.8 (M). KWP2000: ISO 14230-3 (M). GMW3110: edition 1.6 (M), where 20 ends everything.
"""

from __future__ import annotations

import pytest
from talk import Side, Talk, ask, frame, gap, heard, module, read, tester, word_of

from analysis.report.model import Report

U_START: list[Talk] = [read("F190", "41"), ask("10 03", "50 03 0032 01F4")]
K_START: list[Talk] = [ask("1A 91", "5A 91 41313233"), ask("10 92", "50 92"), ask("21 20", "61 20 01")]
G_START: list[Talk] = [ask("1A C1", "5A C1 00123456"), ask("A2", "E2 00")]
START = {"uds": U_START, "kwp2000": K_START, "gmw3110": G_START}
QUIET, NO_FAULTS = "communication-not-restored", "fault-setting-not-restored"


def left_on(dialect: str, *talk: Talk) -> set[str]:
    report = heard(START[dialect], *talk)
    assert {guess.dialect for guess in report.record.dialects.values()} >= {dialect}
    return told(report)


def told(report: Report) -> set[str]:
    return {item.id for item in report.findings} & {QUIET, NO_FAULTS}


@pytest.mark.parametrize(
    ("dialect", "order", "answer", "finding"),
    [
        ("uds", "28 01 01", "68 01", QUIET),
        ("uds", "85 02", "C5 02", NO_FAULTS),
        ("kwp2000", "28 01", "68", QUIET),
        ("kwp2000", "28", "68", QUIET),
        ("kwp2000", "28 02", None, QUIET),  # asks for no answer
        ("kwp2000", "85 01 FF00 02", "C5", NO_FAULTS),
        ("kwp2000", "85 02 FF00 02", None, NO_FAULTS),
        ("gmw3110", "28", "68", QUIET),
        ("gmw3110", "10 02", "50", NO_FAULTS),
    ],
)
def test_an_order_that_nothing_ends_is_found(dialect: str, order: str, answer: str | None, finding: str) -> None:
    assert left_on(dialect, ask(order, *([answer] if answer else []))) == {finding}


@pytest.mark.parametrize(
    ("dialect", "talk"),
    [
        ("uds", [ask("28 01 01", "7F 28 22"), ask("85 02", "7F 85 22")]),
        ("uds", [ask("28 01 01", "68 01"), ask("28 05 01", "68 05")]),  # 05 allows them again, with an address
        ("kwp2000", [ask("28 01", "7F 28 22")]),
        ("kwp2000", [tester("28 01")]),  # an answer was due, and none came
        ("kwp2000", [ask("28 01", "68"), ask("29 01", "69")]),
        ("kwp2000", [ask("28 01", "68"), ask("29 02")]),
        ("kwp2000", [ask("28 01", "68"), ask("10 81", "50 81")]),
        ("kwp2000", [ask("28 01", "68"), ask("20", "60")]),
        ("kwp2000", [ask("28 01", "68"), ask("11 01", "51")]),
        ("kwp2000", [ask("85 01 FF00 02", "C5"), ask("85 01 FF00 01", "C5")]),
        ("kwp2000", [ask("85 01 FF00 01", "C5")]),  # the first byte says who answers, the last one on or off
        ("gmw3110", [ask("28", "68"), ask("20", "60")]),
        ("gmw3110", [ask("10 02", "50"), ask("20", "60")]),
        ("gmw3110", [ask("10 02", "50"), ask("10 03", "50")]),
        ("gmw3110", [ask("10 04", "50")]),  # wakes the links up
        ("gmw3110", [ask("28", "7F 28 22")]),
    ],
)
def test_an_order_that_was_lifted_or_never_given_is_not(dialect: str, talk: list[Talk]) -> None:
    assert left_on(dialect, talk) == set()


@pytest.mark.parametrize(("dialect", "order", "answer"), [("kwp2000", "28 01", "68"), ("gmw3110", "28", "68")])
def test_a_session_that_ran_out_lifted_it(dialect: str, order: str, answer: str) -> None:
    assert left_on(dialect, ask(order, answer), gap(6), frame(0x120, "00")) == set()


def test_a_return_to_normal_mode_that_nobody_answered_lifts_nothing() -> None:
    assert left_on("gmw3110", ask("28", "68"), frame(0x101, "FE 01 20 AA AA AA AA AA"), ask("A2", "E2 00")) >= {QUIET}


def test_the_return_that_the_module_answered_lifts_it() -> None:
    back: list[Talk] = [frame(0x101, "FE 01 20 AA AA AA AA AA"), module("60")]
    assert left_on("gmw3110", ask("28", "68"), back, ask("A2", "E2 00")) == set()


def test_the_same_byte_in_another_dialect_is_another_thing() -> None:
    # UDS 29 is authentication and ends no order; GMW3110 10 02 is no programming session, UDS 10 02 no order.
    assert left_on("uds", ask("28 01 01", "68 01"), ask("29 08", "69 08 01")) == {QUIET}
    assert left_on("uds", ask("10 02", "50 02 0032 01F4")) == set()


def test_a_clear_under_the_order_is_less_sure_in_kwp2000_too() -> None:
    two, none = ask("18 00 FF00", "58 02 0101 60 0203 40"), ask("18 00 FF00", "58 00")
    cleared: list[Talk] = [two, ask("85 01 FF00 02", "C5"), ask("14 FF00", "54 FF00"), none]
    assert word_of(heard(K_START, cleared), "clear") == ("confirmed", "medium")
    on = [*cleared[:2], ask("85 01 FF00 01", "C5"), *cleared[2:]]
    assert word_of(heard(K_START, on), "clear") == ("confirmed", "high")


def test_one_link_in_an_older_dialect_does_not_lift_the_order_of_another() -> None:
    keeper = Side(0x7E1, 0x7E9)
    talk = [ask("1A 91", "5A 91 41", on=keeper), ask("10 92", "50 92", on=keeper), ask("28 01", "68")]
    assert left_on("kwp2000", talk, ask("29 01", "69", on=keeper)) == {QUIET}


def test_the_operation_says_what_was_ordered() -> None:
    report = heard(G_START, ask("10 02", "50"))
    (order,) = [item for item in report.operations if item.kind == "communication"]
    assert order.details["stores_no_faults"] is True
