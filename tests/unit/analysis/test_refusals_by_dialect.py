"""A refused step is told in the words of its dialect, and overcome only by the same step. ISO 14230-3 (M)."""

from __future__ import annotations

import pytest
from talk import Talk, ask, heard

from analysis.report.model import Report

K_ENTER: list[Talk] = [
    ask("1A 91", "5A 91 41424344"), ask("10 85", "50 85"), ask("27 01", "67 01 1234"), ask("27 02 ABCD", "67 02 34"),
]  # fmt: skip
K_REQUEST = ask("34 010000 00 000060", "74 22")
G_ENTER: list[Talk] = [
    ask("1A C1", "5A C1 00000042"), ask("A2", "E2 00"), ask("28", "68"), ask("A5 01", "E5"), ask("A5 03"),
]  # fmt: skip


def found(report: Report, finding: str) -> tuple[str, str]:
    (one,) = [item for item in report.findings if item.id == finding]
    return str(one.severity), one.case


@pytest.mark.parametrize("code", ["71", "74", "75", "76", "77", "79"])
def test_a_code_of_kwp2000_for_blocks_is_a_suspended_transfer(code: str) -> None:
    report = heard(K_ENTER, K_REQUEST, ask(b"\x36" + bytes(32), f"7F 36 {code}"))
    severity, case = found(report, "transfer-suspended")
    assert severity == "serious"
    assert f"36 was refused with {code}" in case  # the byte behind 36 is data, and no counter


def test_the_same_numbers_say_nothing_of_the_kind_in_uds() -> None:
    talk = [
        ask("22 F190", "62 F190 41"),
        ask("10 02", "50 02 0032 01F4"),
        ask("34 00 44 00010000 00000060", "74 20 22"),
    ]
    report = heard(talk, ask(b"\x36\x01" + bytes(32), "7F 36 77"))
    assert "transfer-suspended" not in {item.id for item in report.findings}


def test_a_block_of_kwp2000_that_was_taken_later_is_overcome() -> None:
    again = [ask(b"\x36" + bytes(32), "7F 36 77"), ask(b"\x36" + bytes([9] * 32), "76")]
    assert found(heard(K_ENTER, K_REQUEST, again), "transfer-suspended")[0] == "note"


def test_another_value_of_kwp2000_that_was_taken_later_overcomes_nothing() -> None:
    refused = ask("3B 21 0102", "7F 3B 22")
    other = heard(K_ENTER, refused, ask("3B 31 0102", "7B 31"))
    same = heard(K_ENTER, refused, ask("3B 21 0102", "7B 21"))
    for report, is_over in ((other, False), (same, True)):
        cases = [item.case for item in report.findings if "3B 21 was refused with 22" in item.case]
        assert cases and all(("accepted later" in case) is is_over for case in cases)


def test_another_routine_of_kwp2000_that_was_taken_later_overcomes_nothing() -> None:
    report = heard(K_ENTER, ask("31 E0 01", "7F 31 22"), ask("31 E1 01", "71 E1 01"))
    cases = [item.case for item in report.findings if "31 E0 was refused with 22" in item.case]
    assert cases and not any("accepted later" in case for case in cases)


def test_the_same_routine_of_kwp2000_with_another_option_is_the_same_step() -> None:
    report = heard(K_ENTER, ask("31 E0 01", "7F 31 22"), ask("31 E0 02", "71 E0 01"))
    cases = [item.case for item in report.findings if "31 E0 was refused with 22" in item.case]
    assert cases and all("accepted later" in case for case in cases)


def test_another_value_of_gmw3110_that_was_taken_later_overcomes_nothing() -> None:
    report = heard(G_ENTER, ask("3B A1 0102", "7F 3B 22"), ask("3B B2 0102", "7B B2"))
    cases = [item.case for item in report.findings if "3B A1 was refused with 22" in item.case]
    assert cases and not any("accepted later" in case for case in cases)


def test_a_clear_refused_in_an_older_dialect_is_told() -> None:
    for talk in ([K_ENTER, ask("14 FF00", "7F 14 22")], [ask("03", "43 01 0143"), ask("04", "7F 04 22")]):
        assert "dtc-not-cleared" in {item.id for item in heard(*talk).findings}


def test_a_download_refused_by_a_code_of_kwp2000_is_told() -> None:
    report = heard(K_ENTER, ask("34 010000 00 000060", "7F 34 42"))
    assert "34 was refused with 42" in found(report, "download-refused")[1]


def test_code_85_of_gmw3110_is_a_failure_of_the_memory() -> None:
    report = heard(G_ENTER, ask("3B A1 0102", "7F 3B 85"))
    assert "3B A1 was refused with 85" in found(report, "programming-failure")[1]


def test_faults_of_kwp2000_that_may_be_stored_again_are_another_step_than_none() -> None:
    report = heard(K_ENTER, ask("85 01 FF00 02", "7F 85 33"), ask("85 01 FF00 01", "C5"))
    cases = [item.case for item in report.findings if "was refused with 33" in item.case]
    assert cases and not any("accepted later" in case for case in cases)
