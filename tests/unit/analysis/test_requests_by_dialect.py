"""A module is asked in its own dialect: no report tells somebody to send it a request that it does not have.

ISO 14229-1:2020 (M), ISO 14230-3 (M), GMW3110 1.6 (M).
"""

from __future__ import annotations

import pytest
from talk import Talk, ask, gap, heard, tester

from analysis.report.model import Report
from canlog.services.traits import TRAITS, Act, act_of

U_READ: list[Talk] = [ask("22 F190", "62 F190 41424344"), ask("10 03", "50 03 0032 01F4")]
K_READ: list[Talk] = [ask("1A 91", "5A 91 41424344"), ask("10 85", "50 85"), ask("21 05", "61 05 41424344")]
G_READ: list[Talk] = [ask("1A C1", "5A C1 00000042"), ask("A2", "E2 00"), ask("1A 90", "5A 90 41424344")]
FOREIGN = {
    "uds": ("3E 01", "10 85", "18 00", "A9 81"),
    "kwp2000": ("3E 00", "10 02", "19 02", "31 03", "F186", "28 00", "A9 81"),
    "gmw3110": ("3E 00", "10 02", "19 02", "31 03", "F186", "28 00", "85 01"),
}


def said(report: Report) -> str:
    """All that tells somebody what to do."""
    steps = [*report.verdict.next_steps, *(item.advice for item in report.modules)]
    steps += [item.outcome.would_change for item in report.operations]
    return "\n".join([*steps, *(text for item in report.findings for text in item.try_next)])


def silent(talk: list[Talk], request: str) -> Report:
    return heard(talk, *(part for _ in range(4) for part in (gap(3), tester(request))), gap(3))


@pytest.mark.parametrize(
    ("talk", "request_", "dialect", "asked"),
    [
        (U_READ, "22 F190", "uds", "3E 00 and 10 02"),
        (K_READ, "21 05", "kwp2000", "3E 01 and 10 85"),
        (G_READ, "1A 90", "gmw3110", "3E and A2"),
    ],
)
def test_a_silent_module_is_asked_in_its_own_dialect(talk: list[Talk], request_: str, dialect: str, asked: str) -> None:
    text = said(silent(talk, request_))
    assert f"ask it with {asked}" in text
    assert not [one for one in FOREIGN[dialect] if one in text]


@pytest.mark.parametrize(
    ("talk", "clear", "dialect", "asked"),
    [
        (U_READ, ask("14 FFFFFF", "54"), "uds", "(19 02)"),
        (K_READ, ask("14 FF00", "54 FF00"), "kwp2000", "(18 00 FF 00)"),
        (G_READ, ask("04", "44"), "gmw3110", "(A9 81 FF)"),
    ],
)
def test_a_clear_is_proved_by_a_list_of_the_modules_own_dialect(
    talk: list[Talk], clear: Talk, dialect: str, asked: str
) -> None:
    report = heard(talk, clear, ask("22 F190" if dialect == "uds" else "1A 90", "7F 22 31"))
    assert f"Read the fault memory {asked}" in "\n".join(report.verdict.next_steps)
    assert not [one for one in FOREIGN[dialect] if one in said(report)]


def test_a_session_of_kwp2000_is_not_proved_by_an_identifier_of_uds() -> None:
    assert "F186" not in said(heard([ask("1A 91", "5A 91 41424344"), ask("10 85", "50 85")]))
    assert "F186" in said(heard([ask("22 F190", "62 F190 41424344"), ask("10 03", "50 03 0032 01F4")]))


def test_a_reset_of_kwp2000_is_not_proved_by_an_identifier_of_uds() -> None:
    assert "F186" not in said(heard(K_READ, ask("11 01", "51")))


def test_orders_left_on_are_lifted_in_the_modules_own_dialect() -> None:
    quiet = heard(K_READ, ask("28 01", "68"), ask("85 01 FF 00 02", "C5"), ask("21 05", "61 05 41424344"))
    assert "29 01" in said(quiet)
    assert "85 01 FF 00 01" in said(quiet)
    assert "28 00" not in said(quiet)


@pytest.mark.parametrize("dialect", TRAITS)
def test_every_request_that_is_advised_is_one_of_its_dialect(dialect: str) -> None:
    traits = TRAITS[dialect]
    every = (*traits.asks_silent, traits.lists_faults, traits.allows_messages, traits.stores_faults)
    asked = [request for request in every if request]
    assert asked
    assert not [request.hex() for request in asked if act_of(request[0], dialect) is Act.OTHER]
