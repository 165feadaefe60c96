"""What looks like trouble on a bus and is none, or like calm and is none: one test each.

Source: ISO 14229-1:2020, services 11, 22, 2A, 86, 87 (M); unasked answers of 86 as udsoncan 1.26.1 documents them;
the time that a module needs to start is common practice, no source.
"""

from __future__ import annotations

import pytest
from talk import ask, cyclic, gap, heard, module, of_kind, read, state, tester, words

from analysis.report.model import Report

EXTENDED = ask("10 03", "50 03 0032 01F4")


def findings(report: Report) -> set[str]:
    return {item.id for item in report.findings}


@pytest.mark.parametrize(("request_", "answer"), [("11 01", "51 01"), ("10 02", "50 02 0032 01F4")])
@pytest.mark.parametrize("seconds", [0.5, 4.0])
def test_silence_while_a_module_starts_is_no_dead_module(request_: str, answer: str, seconds: float) -> None:
    report = heard(*read("F188", b"SW"), ask(request_, answer), gap(seconds), *read("F188", b"SW"))
    assert not findings(report) & {
        "silence-module-first",
        "reset-no-return",
        "request-unanswered",
        "silence-everything",
    }
    assert state(report).now.value != "silent"


def test_an_identifier_that_one_variant_lacks_is_no_faulty_module() -> None:
    """7F 22 31 for one identifier among others that are answered."""
    report = heard(*read("F188", b"SW"), ask("22 F1A5", "7F 22 31"), *read("F190", b"E0KRC7HT5TD004217"))
    assert state(report).now.value != "boot"
    assert not findings(report) & {"boot-mode-only"}
    assert all(item.severity.value != "serious" for item in report.findings)


def test_answers_to_no_request_of_events_and_periods_are_kept_and_no_fault() -> None:
    """2A starts answers that come by themselves, with the identifier's low byte in front; 86 sends C6 unasked."""
    talk = [
        EXTENDED,
        ask("2A 02 01", "6A"),
        *[(gap(0.2), module("62 F2 01 0C")) for _ in range(5)],
        *read("F188", b"SW"),
    ]
    report = heard(*talk)
    assert len([item for item in report.record.exchanges if item.request is None]) == 5
    assert "two-testers" not in findings(report)
    assert all(item.severity.value != "serious" for item in report.findings)


def test_a_module_that_changes_its_line_speed_is_not_called_dead() -> None:
    """After 87 03 the recording is blind: the rest of the bus at the old speed goes on or goes silent as well."""
    report = heard(*read("F188", b"SW"), EXTENDED, ask("87 01 12", "C7 01"), tester("87 83"), *cyclic(0x1A0, 100))
    assert state(report).now.value != "silent"
    assert not findings(report) & {"silence-module-first", "request-unanswered"}


def test_a_calibration_check_number_that_is_put_off_is_no_failure() -> None:
    """09 06 right after programming: the number may take minutes (SAE J1979 (M))."""
    waiting = [piece for _ in range(6) for piece in (module("7F 09 78"), gap(4))]
    report = heard(*read("F188", b"SW"), tester("09 06"), *waiting, module("49 06 01 A1B2C3D4"))
    assert all(item.severity.value == "note" for item in report.findings)
    assert words(report, "download") == [] == of_kind(report, "write")


@pytest.mark.parametrize(("answer", "told"), [("11 3A02 22", {0x3A01, 0x3A02}), ("11 3A02 22 3A02 33", set())])
def test_two_identifiers_are_parted_only_where_the_second_one_fits_once(answer: str, told: set[int]) -> None:
    """62 repeats identifiers without lengths: where the second one's bytes occur twice nothing is read from it."""
    record = heard(ask("22 3A01 3A02", f"62 3A01 {answer}")).record
    assert {reading.identifier for story in record.stories for reading in record.readings(story)} == told
