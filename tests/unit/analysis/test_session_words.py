"""Changes of session. ISO 14229-1:2020, 10.2 (M)."""

from __future__ import annotations

from talk import (
    KEEPER,
    Talk,
    ask,
    enter,
    everybody,
    gap,
    heard,
    module,
    programming,
    read,
    reset,
    tester,
    word_of,
    words,
    write,
)

BEFORE = read("F190", "41")
EXTENDED = ask("10 03", "50 03 0032 01F4")


def session_word(*talk: Talk) -> str:
    return word_of(heard(BEFORE, *talk), "session")[0]


def test_a_session_and_a_service_only_valid_in_it_is_confirmed() -> None:
    assert session_word(EXTENDED, write("3A01", "11223344")) == "confirmed"


def test_a_session_that_f186_names_is_confirmed() -> None:
    assert session_word(EXTENDED, read("F186", "03")) == "confirmed"
    assert session_word(ask("10 01", "50 01 0032 01F4"), read("F186", "01")) == "confirmed"


def test_an_accepted_session_alone_is_not_proven() -> None:
    assert session_word(EXTENDED) == "unproven"


def test_another_session_in_f186_proves_nothing() -> None:
    assert session_word(EXTENDED, read("F186", "01")) == "unproven"


def test_a_service_of_every_session_proves_nothing() -> None:
    assert session_word(EXTENDED, read("F18C", "41"), ask("14 FFFFFF", "54")) == "unproven"


def test_a_refused_session_is_a_failure() -> None:
    assert session_word(ask("10 03", "7F 10 22")) == "failed"


def test_an_unanswered_session_is_interrupted() -> None:
    assert session_word(tester("10 03"), gap(6)) == "interrupted"
    assert session_word(ask("10 02", "7F 10 78"), gap(6)) == "interrupted"


def test_a_suppressed_session_is_not_proven_until_a_consequence() -> None:
    assert session_word(tester("10 83"), gap(1)) == "unproven"
    assert session_word(tester("10 83"), gap(1), write("3A01", "11223344")) == "confirmed"


def test_a_consequence_behind_a_restart_or_another_session_proves_nothing() -> None:
    assert session_word(EXTENDED, reset(), write("3A01", "11223344")) == "unproven"
    report = heard(BEFORE, EXTENDED, enter(), programming())
    assert words(report, "session") == ["unproven", "confirmed"]


def test_a_functional_session_that_nobody_answers_is_no_operation() -> None:
    assert words(heard(BEFORE, everybody("10 83"), gap(1)), "session") == []


def test_a_suppressed_session_of_a_module_that_never_answers_is_not_completed() -> None:
    report = heard(BEFORE, tester("10 83", KEEPER), tester("22 F190", KEEPER), gap(6), links=["7E1:7E9"])
    assert word_of(report, "session", "7E1") == ("interrupted", "high")


def test_a_service_answered_long_after_any_wait_shows_no_session() -> None:
    seed = "67 01 1122"
    assert session_word(EXTENDED, ask("27 01", seed)) == "confirmed"
    assert session_word(EXTENDED, tester("27 01"), gap(8), module(seed)) == "unproven"
    assert session_word(EXTENDED, tester("27 01"), module("7F 27 78"), gap(4), module(seed)) == "confirmed"
