"""Clearing and reading fault memory. ISO 14229-1:2020, 11.3, 12.2 and annex D (M)."""

from __future__ import annotations

import pytest
from talk import KEEPER, Talk, ask, everybody, gap, heard, module, of_kind, only, read, reset, tester, word_of, words

CLEAR = ask("14 FFFFFF", "54")
STORED = ask("19 02 FF", "59 02 FF 123456 2F")
EMPTY = ask("19 02 FF", "59 02 FF")


def clear_word(*talk: Talk) -> tuple[str, str]:
    return word_of(heard(read("F190", "41"), *talk), "clear")


def test_a_clear_and_an_empty_list_afterwards_is_confirmed() -> None:
    assert clear_word(STORED, CLEAR, EMPTY) == ("confirmed", "high")
    assert clear_word(CLEAR, EMPTY) == ("confirmed", "high")


def test_a_clear_and_codes_not_tested_since_is_confirmed() -> None:
    assert clear_word(STORED, CLEAR, ask("19 02 FF", "59 02 FF 123456 50"))[0] == "confirmed"


def test_a_code_that_comes_back_is_a_confirmed_clear() -> None:
    report = heard(STORED, CLEAR, EMPTY, gap(3), STORED)
    assert only(report, "clear").outcome.word == "confirmed"
    assert only(report, "clear").details["returned"] == ["P1234-56"]


def test_a_positive_answer_alone_is_not_proven() -> None:
    assert clear_word(STORED, CLEAR) == ("unproven", "high")


def test_a_list_read_before_the_clear_proves_nothing() -> None:
    assert clear_word(EMPTY, CLEAR)[0] == "unproven"
    assert clear_word(tester("14 FFFFFF"), tester("19 02 FF"), module("59 02 FF"), module("54"))[0] == "unproven"


def test_an_unchanged_list_is_not_proven() -> None:
    assert clear_word(STORED, CLEAR, STORED)[0] == "unproven"


@pytest.mark.parametrize("mask", ["01", "02", "40"])
def test_a_list_whose_mask_would_not_show_the_earlier_codes_proves_nothing(mask: str) -> None:
    stored = ask("19 02 08", "59 02 FF 123456 28")
    assert clear_word(stored, CLEAR, ask(f"19 02 {mask}", "59 02 FF"))[0] == "unproven"


def test_a_list_that_cannot_show_stored_codes_proves_nothing_without_an_earlier_list() -> None:
    assert clear_word(CLEAR, ask("19 02 01", "59 02 FF"))[0] == "unproven"
    assert clear_word(CLEAR, ask("19 02 FF", "59 02 01"))[0] == "unproven"


def test_a_count_of_codes_proves_nothing() -> None:
    assert clear_word(STORED, CLEAR, ask("19 01 FF", "59 01 FF 01 0000"))[0] == "unproven"


def test_the_list_of_permanent_codes_proves_nothing() -> None:
    assert clear_word(STORED, CLEAR, ask("19 15", "59 15 FF"))[0] == "unproven"


def test_permanent_codes_that_stay_do_not_speak_against_the_clear() -> None:
    permanent = ask("19 15", "59 15 FF 123456 2F")
    assert clear_word(STORED, permanent, CLEAR, EMPTY, permanent)[0] == "confirmed"


def test_a_status_that_was_so_before_proves_nothing() -> None:
    odd = ask("19 02 FF", "59 02 FF 123456 18")
    assert clear_word(odd, CLEAR, odd)[0] == "unproven"


def test_a_clear_of_a_user_defined_memory_is_not_proved_by_the_main_one() -> None:
    assert clear_word(STORED, ask("14 FFFFFF 01", "54"), EMPTY)[0] == "unproven"


def test_another_modules_list_proves_nothing() -> None:
    other = ask("19 02 FF", "59 02 FF", on=KEEPER)
    assert clear_word(STORED, CLEAR, read("F190", "42", on=KEEPER), other)[0] == "unproven"


def test_a_list_behind_a_second_clear_speaks_for_the_second() -> None:
    report = heard(STORED, CLEAR, CLEAR, EMPTY)
    assert words(report, "clear") == ["unproven", "confirmed"]
    assert report.verdict.overall == "confirmed"


def test_a_refused_clear_is_a_failure() -> None:
    assert clear_word(STORED, ask("14 FFFFFF", "7F 14 22"), EMPTY)[0] == "failed"


def test_a_later_refusal_replaces_an_accepted_clear() -> None:
    report = heard(STORED, CLEAR, EMPTY, ask("14 FFFFFF", "7F 14 22"))
    assert report.verdict.parts["fault_memory"].word == "failed"


def test_an_unanswered_clear_is_interrupted() -> None:
    assert clear_word(STORED, tester("14 FFFFFF"), gap(6))[0] == "interrupted"
    assert clear_word(STORED, ask("14 FFFFFF", "7F 14 78"), gap(6))[0] == "interrupted"


def test_a_functional_clear_has_a_word_for_each_module_that_answered() -> None:
    talk = [STORED, read("F190", "42", on=KEEPER), everybody("14 FFFFFF"), module("54"), EMPTY]
    report = heard(talk)
    assert words(report, "clear", "7E0>") == ["confirmed"]
    assert words(report, "clear", "7E1>") == []
    both = heard(
        STORED, read("F190", "42", on=KEEPER), everybody("14 FFFFFF"), module("54"), module("54", KEEPER), EMPTY
    )
    assert words(both, "clear", "7E1>") == ["unproven"]


def test_the_obd_clear_is_a_clear() -> None:
    assert words(heard(read("F190", "41"), ask("04", "44")), "clear") == ["unproven"]


def test_a_functional_reading_that_a_module_did_not_answer_is_none_of_it() -> None:
    report = heard(read("F190", "41"), read("F190", "42", on=KEEPER), everybody("19 02 FF"), module("59 02 FF", KEEPER))
    assert words(report, "read-faults", "7E0>") == []
    assert words(heard(read("F190", "41"), everybody("19 02 FF"), gap(6)), "read-faults") == []


def test_reading_faults_never_counts() -> None:
    report = heard(STORED, ask("19 02 FF", "7F 19 22"))
    assert [item.part for item in of_kind(report, "read-faults")] == [None, None]
    assert not report.verdict.attempted


def test_a_clear_that_is_read_while_no_faults_are_stored_is_less_sure() -> None:
    """What is there would not be listed: the empty list shows less."""
    off = ask("85 02", "C5 02")
    assert clear_word(STORED, off, CLEAR, EMPTY) == ("confirmed", "medium")
    assert clear_word(STORED, everybody("85 82"), CLEAR, EMPTY) == ("confirmed", "medium")
    assert "still off" in only(heard(STORED, off, CLEAR, EMPTY), "clear").outcome.because[0]


@pytest.mark.parametrize(
    "ending",
    [ask("85 01", "C5 01"), everybody("85 81"), ask("10 01", "50 01 0032 01F4"), ask("11 01", "51 01"), gap(6)],
    ids=["on again", "on for all", "default session", "restart", "session timed out"],
)
def test_what_ends_the_order_to_store_no_faults_makes_the_clear_sure_again(ending: Talk) -> None:
    assert clear_word(STORED, ask("85 02", "C5 02"), ending, CLEAR, EMPTY) == ("confirmed", "high")


def test_a_fault_that_is_active_again_is_said_with_the_clear() -> None:
    active = ask("19 02 FF", "59 02 FF 123456 2F")
    outcome = only(heard(STORED, CLEAR, EMPTY, gap(3), active), "clear").outcome
    assert outcome.word == "confirmed"
    assert "P1234-56 came back, active at the last reading" in outcome.because[0]
    assert "active" not in only(heard(STORED, CLEAR, EMPTY), "clear").outcome.because[0]


def test_an_answer_longer_than_the_standards_makes_a_clear_less_sure() -> None:
    assert clear_word(STORED, ask("14 FFFFFF", "54 CC CC"), EMPTY) == ("confirmed", "medium")


@pytest.mark.parametrize(("mask", "sure"), [("08", "medium"), ("28", "medium"), ("09", "high"), ("0C", "high")])
def test_a_list_of_confirmed_codes_alone_need_not_show_a_fault_that_is_back(mask: str, sure: str) -> None:
    """It is confirmed only after a second trip or so; until then it fails its test or is pending."""
    stored = ask("19 02 08", "59 02 FF 123456 28")
    assert clear_word(stored, CLEAR, ask(f"19 02 {mask}", "59 02 FF")) == ("confirmed", sure)
    assert clear_word(stored, CLEAR, ask(f"19 02 {mask}", "59 02 FF"), EMPTY) == ("confirmed", "high")


def test_a_list_of_the_boot_loader_shows_nothing_of_a_clear() -> None:
    loader: list[Talk] = [ask("10 02", "50 02 0032 01F4"), EMPTY]
    report = heard(STORED, CLEAR, loader)
    assert word_of(report, "clear")[0] == "unproven"
    assert "boot loader" in only(report, "clear").outcome.because[0]
    assert clear_word(STORED, CLEAR, loader, reset(), EMPTY) == ("confirmed", "high")
