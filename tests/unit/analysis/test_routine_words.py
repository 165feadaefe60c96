"""Routines: 71 says accepted, and only names say what a status means. ISO 14229-1:2020, 14 (M)."""

from __future__ import annotations

import pytest
from talk import (
    KEEPER,
    NAMES,
    Talk,
    ask,
    enter,
    everybody,
    gap,
    heard,
    module,
    of_kind,
    only,
    read,
    tester,
    word_of,
    words,
)

BEFORE: list[Talk] = [read("F190", "41"), ask("10 03", "50 03 0032 01F4")]
LEARN, RESULT, STOP = "31 01 0270", "31 03 0270", "31 02 0270"


def routine_word(*talk: Talk, names: str = NAMES) -> str:
    return word_of(heard(BEFORE, *talk, names=names), "routine")[0]


AT_ONCE = NAMES.replace("has_result = true", "")
VALUES = """
[[identifier]]
id = "3B10"
name = "fill volumes"
modules = ["PCU"]
kind = "learned"
[[identifier]]
id = "3B11"
name = "touch points"
modules = ["PCU"]
kind = "learned"
"""
DONE = [ask(LEARN, "71 01 0270 02"), ask(RESULT, "71 03 0270 00")]


def test_a_final_status_that_names_call_good_confirms() -> None:
    assert routine_word(ask(LEARN, "71 01 0270 00"), names=AT_ONCE) == "confirmed"


def test_the_answer_to_the_start_is_no_result_where_names_say_that_one_is_to_be_asked() -> None:
    assert routine_word(ask(LEARN, "71 01 0270 00")) == "interrupted"


def test_a_learned_value_that_reads_blank_since_speaks_against_the_routine() -> None:
    report = heard(BEFORE, DONE, read("3B10", "0123 0124"), gap(1), read("3B10", "FFFF FFFF"), names=NAMES + VALUES)
    assert word_of(report, "routine")[0] == "unproven"
    assert report.verdict.parts["learn"].word == "unproven"
    assert "3B10 (fill volumes) reads blank since" in only(report, "routine").outcome.because[-1]


def test_one_that_holds_something_does_not() -> None:
    assert routine_word(DONE, read("3B10", "0123 0124"), names=NAMES + VALUES) == "confirmed"
    before = read("3B10", "FFFF FFFF")
    assert routine_word(before, DONE, names=NAMES + VALUES) == "confirmed"


def test_one_of_several_that_reads_blank_may_be_another_routines() -> None:
    values = [read("3B10", "0123 0124"), read("3B11", "FFFF FFFF")]
    assert word_of(heard(BEFORE, DONE, values, names=NAMES + VALUES), "routine") == ("confirmed", "medium")


def test_a_good_result_asked_with_03_confirms() -> None:
    talk = [ask(LEARN, "71 01 0270 02"), ask(RESULT, "71 03 0270 02"), gap(1), ask(RESULT, "71 03 0270 00")]
    assert routine_word(talk) == "confirmed"


def test_accepted_without_a_status_is_not_proven() -> None:
    names = NAMES.replace("has_result = true", "")
    assert routine_word(ask(LEARN, "71 01 0270"), names=names) == "unproven"


def test_a_status_that_nothing_explains_is_not_proven() -> None:
    assert routine_word(ask(LEARN, "71 01 0270 00"), names="") == "unproven"
    assert routine_word(ask(LEARN, "71 01 0270 77"), ask(RESULT, "71 03 0270 77")) == "unproven"


def test_a_bad_status_is_a_failure() -> None:
    assert routine_word(ask(LEARN, "71 01 0270 01")) == "failed"
    assert routine_word(ask(LEARN, "71 01 0270 02"), ask(RESULT, "71 03 0270 01")) == "failed"


def test_a_final_refusal_is_a_failure() -> None:
    assert routine_word(ask(LEARN, "7F 31 22")) == "failed"


@pytest.mark.parametrize("answers", [[], ["7F 31 78"], ["7F 31 78", "7F 31 78"]])
def test_no_final_answer_is_interrupted(answers: list[str]) -> None:
    assert routine_word(ask(LEARN, *answers), gap(10)) == "interrupted"


def test_started_and_its_result_never_asked_is_interrupted_where_names_say_it_has_one() -> None:
    assert routine_word(ask(LEARN, "71 01 0270")) == "interrupted"


def test_still_running_when_last_asked_is_interrupted() -> None:
    assert routine_word(ask(LEARN, "71 01 0270 02"), ask(RESULT, "71 03 0270 02")) == "interrupted"


def test_stopped_before_its_result_is_interrupted() -> None:
    assert routine_word(ask(LEARN, "71 01 0270 02"), ask(STOP, "71 02 0270")) == "interrupted"
    names = NAMES.replace("has_result = true", "")
    assert routine_word(ask(LEARN, "71 01 0270"), ask(STOP, "71 02 0270"), names=names) == "interrupted"


def test_a_good_result_stays_good_when_it_is_stopped_afterwards() -> None:
    assert routine_word(DONE, ask(STOP, "71 02 0270")) == "confirmed"


def test_a_result_whose_start_is_not_in_the_capture_is_not_proven() -> None:
    assert routine_word(ask(RESULT, "71 03 0270 00")) == "unproven"


def test_a_result_behind_a_refused_start_is_that_of_an_older_run() -> None:
    assert routine_word(ask(LEARN, "7F 31 22"), ask(RESULT, "71 03 0270 00")) == "failed"


def test_a_result_behind_an_unanswered_start_is_no_proof_of_this_run() -> None:
    assert routine_word(tester(LEARN), gap(6), ask(RESULT, "71 03 0270 00")) == "interrupted"


def test_a_suppressed_start_is_not_proven_and_its_good_result_is() -> None:
    names = NAMES.replace("has_result = true", "")
    assert routine_word(tester("31 81 0270"), gap(1), names=names) == "unproven"
    assert routine_word(tester("31 81 0270"), gap(1), ask(RESULT, "71 03 0270 00")) == "confirmed"


def test_a_later_run_replaces_an_earlier_one() -> None:
    report = heard(BEFORE, ask(LEARN, "71 01 0270 01"), DONE, names=NAMES)
    assert words(report, "routine") == ["failed", "confirmed"]
    assert report.verdict.parts["learn"].word == "confirmed"


def test_a_later_failed_run_replaces_a_good_one() -> None:
    report = heard(BEFORE, DONE, ask(LEARN, "7F 31 22"), names=NAMES)
    assert report.verdict.parts["learn"].word == "failed"


def test_the_same_routine_of_another_module_is_another_run() -> None:
    names = NAMES.replace('modules = ["PCU"]', "modules = []")
    report = heard(BEFORE, tester(LEARN), gap(6), ask(LEARN, "71 01 0270 00", on=KEEPER), names=names)
    assert words(report, "routine", "7E0>") == ["interrupted"]


def test_a_functional_start_that_a_module_did_not_answer_is_no_run_of_it() -> None:
    report = heard(
        BEFORE, read("F190", "42", on=KEEPER), everybody("31 01 0203"), module("71 01 0203 00", KEEPER), gap(6)
    )  # fmt: skip
    assert words(report, "routine", "7E0>") == []
    assert words(report, "routine", "7E1>") == ["unproven"]
    assert words(heard(BEFORE, everybody("31 01 0203"), gap(6)), "routine") == []


# what counts as a learn routine


def test_without_names_a_routine_outside_programming_counts_as_learning() -> None:
    assert only(heard(BEFORE, ask(LEARN, "71 01 0270 00")), "routine").part == "learn"


def test_a_check_in_front_of_programming_is_no_learn_routine() -> None:
    report = heard(BEFORE, ask("31 01 0203", "71 01 0203 00"), enter())
    assert only(report, "routine").part is None


def test_a_routine_inside_the_programming_session_is_no_learn_routine() -> None:
    assert only(heard(BEFORE, enter(), ask(LEARN, "71 01 0270 00")), "routine").part is None


@pytest.mark.parametrize("identifier", ["FF00", "FF01"])
def test_erase_and_dependency_check_are_no_learn_routines(identifier: str) -> None:
    report = heard(BEFORE, ask(f"31 01 {identifier}", f"71 01 {identifier} 00"))
    assert of_kind(report, "routine")[0].part is None


def test_what_names_call_a_check_is_no_learn_routine() -> None:
    assert only(heard(BEFORE, ask("31 01 0266", "71 01 0266 00"), names=NAMES), "routine").part is None


@pytest.mark.parametrize("code", ["24", "22", "12"])
def test_a_result_that_was_told_stays_told_when_it_is_asked_for_again_and_refused(code: str) -> None:
    assert routine_word(DONE, ask(RESULT, f"7F 31 {code}")) == "confirmed"
    assert routine_word(ask(LEARN, "71 01 0270 02"), ask(RESULT, "71 03 0270 01"), ask(RESULT, "7F 31 24")) == "failed"


def test_a_result_that_says_no_behind_a_good_one_is_not_hidden_by_it() -> None:
    assert routine_word(DONE, ask(RESULT, "71 03 0270 01")) == "failed"
    assert routine_word(DONE, ask(RESULT, "7F 31 72")) == "failed"


def test_a_result_that_is_refused_before_it_was_told_is_a_failure() -> None:
    assert routine_word(ask(LEARN, "71 01 0270 00"), ask(RESULT, "7F 31 24"), names=AT_ONCE) == "failed"


def test_busy_when_last_asked_for_its_result_is_no_failure() -> None:
    report = heard(BEFORE, ask(LEARN, "71 01 0270 02"), ask(RESULT, "7F 31 21"), names=NAMES)
    assert word_of(report, "routine")[0] == "interrupted"
    assert "run routine" not in only(report, "routine").outcome.would_change


def test_a_second_start_that_is_refused_while_the_first_runs_does_not_take_its_result() -> None:
    again = ask(LEARN, "7F 31 24")
    assert routine_word(ask(LEARN, "71 01 0270 02"), again, ask(RESULT, "71 03 0270 00")) == "confirmed"
    assert routine_word(ask(LEARN, "71 01 0270 02"), again) == "failed"


def test_a_result_belongs_to_the_run_whose_option_it_names() -> None:
    """Two cylinders are learned at a time; the first is asked for last."""
    started = [ask(f"{LEARN} 01", "71 01 0270 02"), ask(f"{LEARN} 02", "71 01 0270 02")]
    asked = [ask(f"{RESULT} 02", "71 03 0270 01"), ask(f"{RESULT} 01", "71 03 0270 00")]
    assert words(heard(BEFORE, started, asked, names=NAMES), "routine") == ["confirmed", "failed"]
    assert words(heard(BEFORE, started, asked[1:], names=NAMES), "routine") == ["confirmed", "interrupted"]


def test_a_result_of_an_option_that_was_not_started_proves_nothing_of_another() -> None:
    report = heard(BEFORE, ask(f"{LEARN} 02", "71 01 0270 02"), ask(f"{RESULT} 01", "71 03 0270 00"), names=NAMES)
    assert "confirmed" not in words(report, "routine")


def test_a_result_without_the_option_of_its_start_is_that_of_the_run_started_last() -> None:
    assert routine_word(ask(f"{LEARN} 02", "71 01 0270 02"), ask(RESULT, "71 03 0270 00")) == "confirmed"


@pytest.mark.parametrize("code", ["11", "12"])
def test_a_module_without_a_request_for_results_has_told_its_result_at_the_start(code: str) -> None:
    asked = ask(RESULT, f"7F 31 {code}")
    assert routine_word(ask(LEARN, "71 01 0270 00"), asked, names=AT_ONCE) == "confirmed"
    assert routine_word(ask(LEARN, "71 01 0270 01"), asked, names=AT_ONCE) == "failed"
    assert routine_word(ask(LEARN, "71 01 0270"), asked, names=AT_ONCE) == "unproven"
    assert routine_word(ask(LEARN, "71 01 0270 00"), asked) == "failed"
    assert routine_word(asked) == "failed"
