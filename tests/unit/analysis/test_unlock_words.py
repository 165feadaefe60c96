"""Security access and authentication. ISO 14229-1:2020, 10.4 and 10.6 (M)."""

from __future__ import annotations

import pytest
from talk import KEEPER, Talk, ask, everybody, gap, heard, read, reset, tester, word_of, words, write

BEFORE: list[Talk] = [read("F190", "41"), ask("10 03", "50 03 0032 01F4")]
SEED, KEY = ask("27 01", "67 01 1234"), ask("27 02 ABCD", "67 02")
ZERO = ask("27 01", "67 01 0000")


def unlock_word(*talk: Talk) -> str:
    return word_of(heard(BEFORE, *talk), "unlock")[0]


def test_unlocked_and_a_protected_service_accepted_is_confirmed() -> None:
    assert unlock_word(SEED, KEY, write("3A01", "11223344")) == "confirmed"


def test_unlocked_and_not_used_is_not_proven() -> None:
    assert unlock_word(SEED, KEY) == "unproven"


def test_a_protected_service_that_was_refused_proves_nothing() -> None:
    assert unlock_word(SEED, KEY, write("3A01", "11223344", "7F 2E 33")) == "unproven"


@pytest.mark.parametrize(
    "between", [ask("10 03", "50 03 0032 01F4"), reset(), everybody("10 83")], ids=["session", "reset", "all"]
)
def test_a_protected_service_in_a_later_session_proves_nothing(between: Talk) -> None:
    assert unlock_word(SEED, KEY, between, write("3A01", "11223344")) == "unproven"


def test_a_protected_service_of_another_module_proves_nothing() -> None:
    assert unlock_word(SEED, KEY, write("3A01", "11223344", on=KEEPER)) == "unproven"


@pytest.mark.parametrize("code", ["35", "36", "37", "58"])
def test_a_refused_key_is_a_failure(code: str) -> None:
    assert unlock_word(SEED, ask("27 02 ABCD", f"7F 27 {code}")) == "failed"


def test_a_refused_seed_is_a_failure() -> None:
    assert unlock_word(ask("27 01", "7F 27 37")) == "failed"


def test_a_seed_without_a_key_is_interrupted() -> None:
    assert unlock_word(SEED, gap(10)) == "interrupted"


def test_an_unanswered_key_is_interrupted() -> None:
    assert unlock_word(SEED, tester("27 02 ABCD"), gap(10)) == "interrupted"


def test_a_seed_of_zeros_is_confirmed_only_with_the_protected_service() -> None:
    assert unlock_word(ZERO) == "unproven"
    assert unlock_word(ZERO, write("3A01", "11223344")) == "confirmed"


def test_authentication_is_confirmed_by_the_service_it_opens() -> None:
    done = ask("29 03 0001AA 0000", "69 03 12")
    assert unlock_word(done, write("3A01", "11223344")) == "confirmed"
    assert unlock_word(done) == "unproven"


def test_a_challenge_alone_is_not_open() -> None:
    assert unlock_word(ask("29 05 00", "69 05 00"), write("3A01", "11223344")) == "interrupted"


def test_without_an_unlock_there_is_none() -> None:
    assert words(heard(BEFORE, write("3A01", "11223344")), "unlock") == []


def test_a_failed_unlock_never_lowers_the_overall_word() -> None:
    talk = [read("3A01", "55"), SEED, ask("27 02 ABCD", "7F 27 35"), SEED, KEY]
    report = heard(BEFORE, talk, write("3A01", "11223344"), reset(), read("3A01", "11223344"))
    assert report.verdict.overall == "confirmed"
