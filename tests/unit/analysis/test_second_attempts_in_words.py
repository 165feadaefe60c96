"""What is said of an attempt that carried nothing, where another one did. Common practice, no source."""

from __future__ import annotations

import pytest
from talk import ERASE, IMAGE, Talk, ask, block, blocks, cyclic, download, enter, gap, heard, of_kind, read, request

GOES_ON = cyclic(0x120, 30)
PART: list[Talk] = [enter(), ask(*ERASE), request(), *blocks()[:2], gap(1)]
AGAIN: list[Talk] = [enter(), ask(*ERASE)]
WHOLE: list[Talk] = [enter(), ask("31 01 FF00 01", "71 01 FF00 00"), *download()]
EARLIER = "an earlier download carried 2 blocks, 64 of 96 bytes (66.7 %)"


def reason(*talk: Talk) -> str:
    report = heard(read("F190", "41"), *talk, GOES_ON)
    because = of_kind(report, "download")[-1].outcome.because[0]
    assert because in report.verdict.headline
    return because


def test_an_erase_behind_blocks_says_that_there_were_some() -> None:
    assert reason(PART, AGAIN) == f"memory was erased and nothing was downloaded since; {EARLIER}"


def test_a_request_behind_blocks_says_that_there_were_some() -> None:
    assert reason(PART, AGAIN, request()) == f"the transfer was requested and no block was carried since; {EARLIER}"


@pytest.mark.parametrize("again", [ask("31 01 FF00 02", "71 01 FF00 00"), ask("31 01 FF00 01", "71 01 FF00 00")])
def test_a_whole_download_in_front_is_told(again: Talk) -> None:
    assert reason(WHOLE, again).endswith("an earlier download carried 3 blocks, 96 of 96 bytes (100.0 %)")


def test_without_an_earlier_one_none_is_told() -> None:
    assert reason(AGAIN) == "memory was erased and nothing was downloaded"
    assert reason(AGAIN, request()) == "the transfer was requested and no block was carried"
    assert reason(AGAIN, gap(1), AGAIN) == "memory was erased and nothing was downloaded"


def test_blocks_that_were_sent_and_not_answered_are_not_called_none() -> None:
    said = "the transfer was requested and 1 block sent, without an answer"
    assert reason(AGAIN, request(), block(1, IMAGE[:32], ""), gap(7)) == said
    assert reason(PART, AGAIN, request(), block(1, IMAGE[:32], ""), gap(7)) == f"{said}; {EARLIER}"
