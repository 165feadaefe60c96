"""A pause inside a message that no receiver waits for: the record lacks a piece there, and two halves may be joined."""

from __future__ import annotations

import pytest
from talk import Piece, Talk, ask, enter, gap, heard, module, only, read, reset, tester, word_of, write

from analysis.report.model import Report

OLD, NEW = "FF" * 14, "0102030405060708090A0B0C0D0E"
BEFORE: list[Talk] = [read("3A01", OLD), ask("10 03", "50 03 0032 01F4")]


def halves(piece: Piece, seconds: float, at: int = 3) -> list[Piece]:
    """The message with a pause in front of one of its frames."""
    return [Piece(piece.frames[:at]), Piece(piece.frames[at:], round(seconds * 1e9))]


def trust(report: Report) -> tuple[str, bool]:
    one = report.record.captures[0].trust
    return one.fitness.value, any("was taken all the same" in text for text in one.reasons)


@pytest.mark.parametrize(
    ("seconds", "fitness", "confidence"), [(0.9, "good", "high"), (4.7, "limited", "medium")], ids=["short", "long"]
)
def test_a_hole_inside_an_act_lowers_it_and_the_capture(seconds: float, fitness: str, confidence: str) -> None:
    act = [*halves(tester(f"2E 3A01 {NEW}"), seconds), module("6E 3A01")]
    report = heard(BEFORE, act, reset(), read("3A01", NEW))
    assert trust(report) == (fitness, fitness == "limited")
    assert word_of(report, "write") == ("confirmed", confidence)


@pytest.mark.parametrize("at", [1, 3], ids=["flow control", "a later frame"])
def test_a_hole_inside_a_proof_takes_the_word_away(at: int) -> None:
    """The first half may be of another reading than the second."""
    proof = [tester("22 3A01"), *halves(module(f"62 3A01 {NEW}"), 1.5, at)]
    report = heard(BEFORE, write("3A01", NEW), reset(), proof)
    assert trust(report) == ("limited", True)
    assert word_of(report, "write")[0] == "unproven"


def test_a_request_that_nobody_answered_may_have_stood_still_on_the_bus() -> None:
    report = heard(BEFORE, halves(tester(f"2E 3A01 {NEW}"), 4.7), gap(3), read("F190", "41"))
    assert trust(report)[1] is False


def test_a_silence_of_the_whole_record_is_said_once() -> None:
    act = [*halves(tester(f"2E 3A01 {NEW}"), 40), module("6E 3A01")]
    report = heard(BEFORE, act, reset(), read("3A01", NEW))
    assert trust(report) == ("limited", False)
    assert only(report, "write").outcome.confidence == "medium"


def test_a_message_that_begins_again_in_the_middle_is_not_in_a_good_capture() -> None:
    """The end of one sending and the begin of the one before: their sequence numbers overlap."""
    whole = tester(f"2E 3A01 {NEW}{NEW}").frames
    act = [Piece((*whole[:5], *whole[3:])), module("6E 3A01")]
    report = heard(enter(), act, reset(), read("3A01", NEW + NEW))
    reasons = report.record.captures[0].trust.reasons
    assert trust(report)[0] == "limited"
    assert "frames stand twice inside 1 message" in reasons
