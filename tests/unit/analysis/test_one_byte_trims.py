"""Dialects with identifiers of one byte (ISO 14230-3 (M), GMW3110 1.6): their trims are told like those of two."""

from __future__ import annotations

from pathlib import Path

import pytest
from talk import Talk, ask, gap, heard, tester

from analysis.job import analyse
from analysis.report.model import Report
from analysis.trims.sheet import trim_sheets
from analysis.words import Word

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"


@pytest.mark.parametrize("fixture", ["kwp-all-good", "kwp-read-back-differs", "gmw-all-good", "gmw-read-back-differs"])
def test_a_trim_of_one_byte_shows_what_was_written_and_read_back(fixture: str) -> None:
    names = FIXTURES / f"{fixture[:3]}_names.toml"
    report = analyse(FIXTURES / fixture / "capture.log", None, [names])
    numbers = [item.identifier for item in report.trims if item.written is not None]
    assert numbers == ([0x21, 0x22, 0x23] if fixture.startswith("kwp") else [0xA1, 0xA2, 0xA3])
    for item in report.trims:
        assert item.operation is not None
        assert item.read_back is not None
        assert (item.read_back == item.written) is (item.word is Word.CONFIRMED)


SHEET = """
[[module]]
label = "OLD"
link = "7E0:7E8"
trims = [ { identifiers = "31-32", value = "01020304" }, { identifier = "33", value = "0A0B" } ]
"""
#: How each dialect is told, and how it reads what 3B writes: KWP2000 with 21 (ISO 14230-3 (M)), GMW3110 1.6 with 1A.
DIALECTS: dict[str, tuple[list[Talk], str, str]] = {
    "kwp": ([ask("10 85", "50 85"), ask("1A 91", "5A 91 41424344")], "21", "61"),
    "gmw": (
        [ask("1A C1", "5A C1 00123456"), ask("28", "68"), ask("A2", "E2 00"), ask("A5 01", "E5"), tester("A5 03"),
         gap(0.1), ask("20", "60"), gap(1)], "1A", "5A",
    ),
}  # fmt: skip


def asked_of(dialect: str, values: dict[str, str], wrote: dict[str, str]) -> tuple[Report, dict[str, str]]:
    begin, service, answer = DIALECTS[dialect]
    talk: list[Talk] = [
        *begin,
        *(ask(f"3B {number} {value}", f"7B {number}") for number, value in wrote.items()),
        gap(1),
        *(ask(f"{service} {number}", f"{answer} {number} {value}") for number, value in values.items()),
    ]
    report = heard(*talk, sheet=SHEET)
    return report, {one.item: str(one.word) for one in report.expectations}


@pytest.mark.parametrize("dialect", DIALECTS)
def test_a_job_sheet_of_one_byte_identifiers_is_answered_item_by_item(dialect: str) -> None:
    good = {"31": "01020304", "32": "01020304", "33": "0A0B"}
    report, words = asked_of(dialect, good, good)
    assert next(iter(report.record.dialects.values())).dialect.startswith(dialect)
    assert len(words) == 3
    assert set(words.values()) == {"confirmed"}
    assert [one.link for one in report.expectations] == [report.operations[0].link.key] * 3


@pytest.mark.parametrize("dialect", DIALECTS)
def test_a_wrong_an_unread_and_a_missing_value_of_one_byte_are_told_apart(dialect: str) -> None:
    report, words = asked_of(dialect, {"31": "01020305"}, {"31": "01020304", "32": "01020304"})
    by_number = {number: word for number in ("31", "32", "33") for text, word in words.items() if f" {number}" in text}
    assert by_number == {"31": "failed", "32": "unproven", "33": "not-shown"}
    (sheet,) = [one for one in trim_sheets(report, None) if one.label == "OLD"]
    assert [(line.identifier, str(line.word)) for line in sheet.lines] == [("31", "failed"), ("32", "unproven")]
