"""What must have been on the bus and is not in the capture is found, said, and costs confidence."""

from __future__ import annotations

import pytest
from talk import (
    CHECK,
    ERASE,
    IMAGE,
    NAMES,
    Talk,
    ask,
    block,
    enter,
    flat,
    gap,
    heard,
    module,
    of_kind,
    only,
    read,
    reset,
    tester,
    without,
    write,
)
from talk import request as asked_for

from analysis.report.model import Report

GOOD = ask(CHECK, "71 01 0266 00")
PARTS = [IMAGE[at : at + 32] for at in (0, 32, 64)]


def carried(lost: int = 0) -> list[Talk]:
    """Three blocks; one of them (from 1) without its answer."""
    return [block(number, part, "" if number == lost else None) for number, part in enumerate(PARTS, 1)]


ERASED, ASKED, CARRIED, LEFT = ask(*ERASE), asked_for(), carried(), ask("37", "77")


def transfer(
    *, erase: Talk = ERASED, request: Talk = ASKED, blocks: Talk = CARRIED, leave: Talk = LEFT
) -> list[Talk]:  # fmt: skip
    """A good download, some steps of it in another form."""
    return [erase, request, blocks, leave]


def told(*talk: Talk) -> Report:
    return heard(read("F190", "41"), enter(), *talk, names=NAMES)


def reasons(report: Report) -> str:
    return "; ".join(report.record.captures[0].trust.reasons)


def ids(report: Report) -> set[str]:
    return {item.id for item in report.findings}


PUT_OFF = [tester(ERASE[0]), module("7F 31 78")]
LACKING: dict[str, tuple[list[Talk], str]] = {
    "answer to the erase": (transfer(erase=PUT_OFF), "31 01 FF 00 is without an answer, and 34 was accepted"),
    "answer to the request": (
        transfer(request=asked_for(answer="")), "34 is without an answer, and 36 01 was accepted",
    ),
    "answer to a block": (transfer(blocks=carried(2)), "36 02 is without an answer, and 36 03 was accepted"),
    "answer to the last block": (transfer(blocks=carried(3)), "36 03 is without an answer, and 37 was accepted"),
    "answer to the exit": (transfer(leave=tester("37")), "37 is without an answer, and 31 01 02 66 was accepted"),
    "request of a block": (
        transfer(blocks=[block(1, PARTS[0]), module("76 02"), block(3, PARTS[2])]), "the request of 36 02 is missing",
    ),
    "whole block": (
        transfer(blocks=[block(1, PARTS[0]), block(3, PARTS[2])]), "what stood between 36 01 and 36 03 is missing",
    ),
    "exit": (transfer(leave=[]), "the transfer exit in front of 31 01 02 66 is missing"),
    "all blocks": (transfer(blocks=[]), "the blocks in front of 37 are missing (before line"),
}  # fmt: skip


@pytest.mark.parametrize("what", LACKING)
def test_what_is_missing_is_said_and_costs_confidence(what: str) -> None:
    talk, said = LACKING[what]
    report = told(*talk, GOOD, gap(9), read("F190", "41"))
    assert said in reasons(report)
    assert report.record.captures[0].trust.fitness == "limited"
    assert "step-missing" in ids(report)
    assert not ids(report) & {"pending-without-end", "request-unanswered", "tester-gives-up-early"}
    assert only(report, "download").outcome.confidence == "medium"


@pytest.mark.parametrize("behind", [block(3, PARTS[2]), ask("3E 00", "7E 00")], ids=["another block", "a short one"])
def test_a_capture_that_lost_the_end_of_a_message_is_not_called_good(behind: Talk) -> None:
    """No byte in front of the last one seen is missing, and the module answered all the same."""
    asked, *answer = flat([block(2, PARTS[1])])
    short = [without(asked, len(asked.frames) - 1), *answer]
    report = told(*transfer(blocks=[block(1, PARTS[0]), short, behind, block(3, PARTS[2])]), GOOD)
    assert report.record.captures[0].trust.fitness == "limited"
    assert "frames are missing inside 1 message" in reasons(report)
    assert "no loss is noted" not in reasons(report)


def test_a_whole_download_lacks_nothing() -> None:
    report = told(*transfer(), GOOD)
    assert "step-missing" not in ids(report)
    assert only(report, "download").outcome.confidence == "high"


def test_a_block_sent_again_after_a_lost_answer_lacks_nothing() -> None:
    again = [block(1, PARTS[0]), block(2, PARTS[1], ""), gap(1), block(2, PARTS[1]), block(3, PARTS[2])]
    assert "step-missing" not in ids(told(*transfer(blocks=again), GOOD))


def test_a_second_transfer_without_its_request_is_found_in_the_middle() -> None:
    report = told(*transfer(), *transfer(request=[]), GOOD)
    assert "the request in front of 36 01 is missing (before line" in reasons(report)
    assert {item.outcome.confidence for item in of_kind(report, "download")} == {"medium"}


def test_an_account_counts_the_answers_that_are_there() -> None:
    because = only(told(*transfer(blocks=carried(2)), GOOD), "download").outcome.because
    assert any("2 of 3 blocks answered: 36 02 (lines" in text for text in because)
    assert not any("each answered positively" in text for text in because)


def test_an_answer_with_the_counter_of_another_block_is_named() -> None:
    wrong = [block(1, PARTS[0]), block(2, PARTS[1], "76 03"), block(3, PARTS[2])]
    report = told(*transfer(blocks=wrong), GOOD)
    assert "36 02 was answered with another counter, 03" in reasons(report)
    outcome = only(report, "download").outcome
    assert (outcome.word, outcome.confidence) == ("confirmed", "medium")
    assert any("block 02 was answered with counter 03" in text for text in outcome.because)


@pytest.mark.parametrize("at", [1, 2])
def test_a_hole_in_a_transfer_that_goes_on_is_the_recorders(at: int) -> None:
    blocks = carried()
    report = told(*transfer(blocks=[*blocks[:at], gap(40), *blocks[at:]]), GOOD)
    assert "no frame for 40." in reasons(report)
    assert "record-gap" in ids(report)
    operation = only(report, "download")
    assert operation.outcome.confidence == "medium"
    assert operation.details["rate_bytes_per_s"] is None


def test_a_pause_between_two_readings_is_nobodys_fault() -> None:
    assert "record-gap" not in ids(told(*transfer(), GOOD, gap(40), read("F190", "41")))


CHECK_PUT_OFF = [tester(CHECK), module("7F 31 78")]
GOES_ON: dict[str, tuple[list[Talk], str]] = {
    "check put off, and another check": (
        [*transfer(), CHECK_PUT_OFF, ask("31 01 FF01", "71 01 FF01 00")], "31 01 02 66 is without an answer, and 31",
    ),
    "check, and the restart": (
        [*transfer(), GOOD, tester("31 01 FF01"), gap(4), reset()], "31 01 FF 01 is without an answer, and 11 was",
    ),
    "write, and another write": (
        [write("3A01", "0102")[:1], write("3A02", "0304")], "2E 3A 01 is without an answer, and 2E 3A 02 was accepted",
    ),
    "clear, and a reading": ([tester("14 FFFFFF"), read("F190", "41")], "14 is without an answer, and 22 was"),
}  # fmt: skip


@pytest.mark.parametrize("what", GOES_ON)
def test_an_answer_that_the_job_did_not_wait_for_is_missing_in_the_record(what: str) -> None:
    talk, said = GOES_ON[what]
    report = told(*talk, gap(9), read("F190", "41"))
    assert said in reasons(report)
    assert report.record.captures[0].trust.fitness == "limited"
    assert not ids(report) & {"pending-without-end", "request-unanswered"}
    assert {item.outcome.confidence for item in report.operations if item.outcome.word == "confirmed"} <= {"medium"}


NOT_GONE_ON: dict[str, list[Talk]] = {
    "erase, and a reset": [tester(ERASE[0]), gap(6), reset()],
    "asked again behind another request": [tester("2E 3A01 01"), gap(6), read("F190", "41"), write("3A01", "01")],
    "broken off": [tester("2E 3A01 01"), gap(6), ask("10 01", "50 01 0032 01F4")],
    "nothing answers": [tester("2E 3A01 01"), gap(6), tester("22 F190")],
}


@pytest.mark.parametrize("what", NOT_GONE_ON)
def test_a_tester_that_breaks_off_or_asks_again_lost_nothing_in_the_record(what: str) -> None:
    assert "step-missing" not in ids(told(*NOT_GONE_ON[what], gap(9)))
