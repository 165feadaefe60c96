"""Resets, and whether the module really started anew. ISO 14229-1:2020, 10.3 (M)."""

from __future__ import annotations

import pytest
from talk import (
    APPLICATION_START,
    KEEPER,
    NAMES,
    Talk,
    ask,
    cyclic,
    gap,
    heard,
    only,
    read,
    tester,
    word_of,
    write,
)  # fmt: skip

BEFORE: list[Talk] = [read("F190", "41"), ask("10 03", "50 03 0032 01F4")]
UNLOCKED: list[Talk] = [ask("27 01", "67 01 1234"), ask("27 02 ABCD", "67 02")]
RESET: list[Talk] = [ask("11 01", "51 01"), gap(1.5)]


def reset_word(*talk: Talk, names: str = "") -> str:
    return word_of(heard(*talk, names=names), "reset")[0]


def test_a_reset_and_the_default_session_in_f186_is_confirmed() -> None:
    assert reset_word(BEFORE, RESET, read("F186", "01")) == "confirmed"


def test_a_reset_and_a_service_refused_in_the_default_session_is_confirmed() -> None:
    assert reset_word(BEFORE, RESET, write("3A01", "11", "7F 2E 7F")) == "confirmed"


def test_a_reset_and_lost_access_is_confirmed() -> None:
    assert reset_word(BEFORE, UNLOCKED, RESET, write("3A01", "11", "7F 2E 33")) == "confirmed"


def test_a_reset_and_a_start_message_is_confirmed() -> None:
    assert reset_word(BEFORE, RESET, APPLICATION_START, gap(1), names=NAMES) == "confirmed"


def test_a_reset_and_cyclic_frames_that_stop_and_return_is_confirmed() -> None:
    running = cyclic(0x120, 30)
    talk = [BEFORE, running, ask("11 01", "51 01"), gap(2), cyclic(0x120, 30)]
    assert reset_word(talk, names=NAMES) == "confirmed"


def test_cyclic_frames_that_stopped_long_before_are_no_sign() -> None:
    talk = [BEFORE, cyclic(0x120, 30), gap(20), ask("11 01", "51 01"), gap(2), cyclic(0x120, 30)]
    assert reset_word(talk, names=NAMES) == "unproven"


def test_an_accepted_reset_alone_is_not_proven() -> None:
    assert reset_word(BEFORE, RESET) == "unproven"


def test_the_default_session_proves_nothing_where_it_was_there_before() -> None:
    assert reset_word(read("F186", "01"), RESET, read("F186", "01")) == "unproven"
    assert reset_word(read("F186", "01"), RESET, write("3A01", "11", "7F 2E 7F")) == "unproven"


def test_a_session_asked_for_behind_the_reset_hides_what_it_did() -> None:
    talk = [BEFORE, RESET, ask("10 01", "50 01 0032 01F4"), read("F186", "01")]
    assert reset_word(talk) == "unproven"


def test_a_suppressed_reset_is_confirmed_by_a_sign_and_else_not_proven() -> None:
    assert reset_word(BEFORE, tester("11 81"), gap(1.5), read("F186", "01")) == "confirmed"
    assert reset_word(BEFORE, tester("11 81"), gap(1.5)) == "unproven"


def test_a_refused_reset_is_a_failure() -> None:
    assert reset_word(BEFORE, ask("11 01", "7F 11 22")) == "failed"


def test_an_unanswered_reset_is_interrupted() -> None:
    assert reset_word(BEFORE, tester("11 01"), gap(2)) == "interrupted"


def test_no_answer_for_long_after_the_reset_is_interrupted() -> None:
    asked = [[tester("22 F190"), gap(6)] for _ in range(6)]
    assert reset_word(BEFORE, RESET, asked, read("F190", "42", on=KEEPER)) == "interrupted"


def test_too_short_a_wait_after_the_reset_says_nothing() -> None:
    assert reset_word(BEFORE, RESET, tester("22 F190"), gap(6), read("F190", "42", on=KEEPER)) == "unproven"


@pytest.mark.parametrize(("asked", "answer"), [("11 04", "51 04 0A"), ("11 05", "51 05")])
def test_rapid_power_shutdown_changes_no_session(asked: str, answer: str) -> None:
    report = heard(BEFORE, UNLOCKED, ask(asked, answer), write("3A01", "11"))
    assert only(report, "session").outcome.word == "confirmed"
    assert only(report, "unlock").outcome.word == "confirmed"
    story = report.record.stories[0]
    assert story.before(story.exchanges[-1]).session == 3
    assert not story.starts
