"""A transfer that was refused is told by its refusal, not by the silence behind it. ISO 14229-1:2020, annex A.1 (M)."""

from __future__ import annotations

import pytest
from talk import ERASE, IMAGE, Talk, ask, block, cyclic, enter, gap, heard, read, request

GOES_ON = cyclic(0x120, 80)
BEFORE: list[Talk] = [read("F190", "41"), enter(), ask(*ERASE)]


@pytest.mark.parametrize(
    ("talk", "said"),
    [
        (request(answer="7F 34 92"), "92 supply voltage above the limit"),
        (request(answer="7F 34 93"), "93 supply voltage below the limit"),
        (request(answer="7F 34 22"), "22 a condition"),
        ([request(), block(1, IMAGE[:32], "7F 36 93")], "93 supply voltage below the limit"),
    ],
    ids=["too high", "too low", "conditions", "a block"],
)
def test_a_refusal_is_the_story_and_not_the_tester_that_stops_behind_it(talk: Talk, said: str) -> None:
    report = heard(BEFORE, talk, GOES_ON)
    assert said in report.verdict.headline
    assert "tester fell silent" not in report.verdict.headline
    assert "silence-tester-first" not in {item.id for item in report.findings}


def test_a_tester_that_stops_behind_an_accepted_block_fell_silent() -> None:
    report = heard(BEFORE, request(), block(1, IMAGE[:32]), GOES_ON)
    assert "the tester fell silent in the middle" in report.verdict.headline
    assert "silence-tester-first" in {item.id for item in report.findings}


@pytest.mark.parametrize(
    "behind",
    [
        [request(answer=""), gap(6), GOES_ON],
        [ask("31 01 FF00 02", "71 01 FF00 00"), request(address=0x20000), block(1, IMAGE[:32]), GOES_ON],
    ],
    ids=["asked again in vain", "another part, and the tester stops"],
)
def test_what_failed_is_the_reason_of_a_failure_whatever_broke_off_behind_it(behind: Talk) -> None:
    headline = heard(BEFORE, request(answer="7F 34 93"), behind).verdict.headline
    assert "programming failed: the request to transfer was refused, after memory was erased: 93" in headline
