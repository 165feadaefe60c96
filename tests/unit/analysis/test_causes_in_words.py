"""What can be behind a finding begins as a sentence. Source: ISO 14229-1:2020, annex A.1 (M) for the codes."""

from __future__ import annotations

import re

import pytest
from talk import ERASE, Talk, ask, enter, heard, read, request, write

from analysis.checks.looking.causes import BY_ACT, BY_CODE, LABEL, in_words

REFUSED: dict[str, Talk] = {
    f"{code:02X}": [enter(), ask(*ERASE), request(answer=f"7F 34 {code:02X}")] for code in sorted(BY_CODE)
} | {"write": [enter(), write("4A10", "01", "7F 2E 22")], "erase": [enter(), ask("31 01 FF00", "7F 31 22")]}


@pytest.mark.parametrize("talk", REFUSED.values(), ids=REFUSED)
def test_no_sentence_of_an_explanation_begins_in_lower_case(talk: Talk) -> None:
    report = heard(read("F190", "41"), talk)
    assert report.findings
    for item in report.findings:
        assert not re.search(r"\. [a-z]", item.explanation), item.explanation


@pytest.mark.parametrize("text", [*BY_CODE.values(), *BY_ACT.values()])
def test_every_cause_is_said_to_be_a_possible_one(text: str) -> None:
    assert in_words(text).startswith(LABEL)
    assert in_words(text).endswith(".")


def test_a_sentence_stays_as_it_is() -> None:
    assert in_words("A real fault.") == "A real fault."


@pytest.mark.parametrize(("code", "said"), [("22", "Meet the conditions"), ("24", "which step"), ("33", "Unlock")])
def test_the_next_step_behind_a_refused_download_is_what_its_code_asks_for(code: str, said: str) -> None:
    """One that is locked, or wants another step first, says nothing of the file: ISO 14229-1:2020, annex A.1 (M)."""
    report = heard(read("F190", "41"), ask("10 02", "50 02 0032 01F4"), request(answer=f"7F 34 {code}"))
    steps = " ".join(map(str, report.verdict.next_steps))
    assert said in steps
    assert "that file and address fit" not in steps
    fits = heard(read("F190", "41"), enter(), request(answer="7F 34 31"))
    assert "that file and address fit" in " ".join(map(str, fits.verdict.next_steps))
