"""Writes by identifier: what the bus proves of them. ISO 14229-1:2020, 11.7 (M): the answer repeats no data."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from talk import (
    KEEPER,
    NAMES,
    PUMP,
    Side,
    ask,
    enter,
    everybody,
    gap,
    heard,
    judged,
    log_of,
    module,
    of_kind,
    only,
    programming,
    read,
    reset,
    tester,
    without,
    word_of,
    words,
    write,
)  # fmt: skip

OLD, NEW = "FFFFFFFF", "01264031"
LONG = "26403104A2FFFD1B0C77"
EXTENDED = [ask("10 03", "50 03 0032 01F4"), ask("27 01", "67 01 1234"), ask("27 02 ABCD", "67 02")]
BEFORE = [read("3A01", OLD), EXTENDED]


def test_a_write_read_back_after_the_restart_is_confirmed_high() -> None:
    report = heard(BEFORE, write("3A01", NEW), reset(), read("3A01", NEW))
    assert word_of(report, "write") == ("confirmed", "high")
    details = only(report, "write").details
    assert (details["before"], details["written"], details["read_back"]) == (OLD, NEW, NEW)
    assert details["after_power_cycle"] is True


def test_a_read_back_in_the_same_power_cycle_is_confirmed_medium_and_says_so() -> None:
    report = heard(BEFORE, write("3A01", NEW), read("3A01", NEW))
    assert word_of(report, "write") == ("confirmed", "medium")
    assert "not yet after a power cycle" in only(report, "write").outcome.because[0]
    assert "3A01" in only(report, "write").outcome.would_change


def test_a_read_back_before_the_restart_that_follows_is_not_proven() -> None:
    report = heard(BEFORE, write("3A01", NEW), read("3A01", NEW), reset(), read("F190", "41"))
    assert word_of(report, "write") == ("unproven", "high")


@pytest.mark.parametrize("restart", [tester("11 81"), everybody("11 81"), tester("11 01"), ask("11 01", "7F 11 78")])
def test_a_reset_that_may_have_happened_takes_the_proof_from_an_earlier_read_back(restart: object) -> None:
    report = heard(BEFORE, write("3A01", NEW), read("3A01", NEW), [restart], gap(2), read("F190", "41"))
    assert word_of(report, "write")[0] == "unproven"


def test_a_reset_that_was_refused_is_no_restart() -> None:
    report = heard(BEFORE, write("3A01", NEW), read("3A01", NEW), ask("11 01", "7F 11 22"))
    assert word_of(report, "write") == ("confirmed", "medium")


def test_a_reset_that_was_refused_between_makes_a_read_back_no_proof_of_storing() -> None:
    report = heard(BEFORE, write("3A01", NEW), ask("11 01", "7F 11 22"), read("3A01", NEW))
    assert word_of(report, "write") == ("confirmed", "medium")
    assert only(report, "write").details["after_power_cycle"] is False


@pytest.mark.parametrize("request_of", ["11 04", "11 05"])
def test_enabling_rapid_power_down_is_no_power_cycle(request_of: str) -> None:
    answer = "51 04 0A" if request_of == "11 04" else "51 05"
    report = heard(BEFORE, write("3A01", NEW), ask(request_of, answer), gap(2), read("3A01", NEW))
    assert word_of(report, "write") == ("confirmed", "medium")


def test_a_border_between_captures_is_no_power_cycle() -> None:
    first = log_of(BEFORE, write("3A01", NEW))
    second = log_of(read("3A01", NEW), start_ns=1_795_003_600 * 10**9)
    report = judged(first, second)
    assert word_of(report, "write") == ("confirmed", "medium")


def test_a_gap_alone_is_no_power_cycle() -> None:
    report = heard(BEFORE, write("3A01", NEW), gap(3600), read("3A01", NEW))
    assert word_of(report, "write") == ("confirmed", "medium")


def test_an_accepted_write_that_nobody_read_is_not_proven() -> None:
    report = heard(BEFORE, write("3A01", NEW))
    assert word_of(report, "write") == ("unproven", "high")
    assert "read 3A01" in only(report, "write").outcome.would_change


def test_a_value_that_was_there_before_proves_no_write() -> None:
    report = heard(read("3A01", NEW), EXTENDED, write("3A01", NEW), reset(), read("3A01", NEW))
    assert word_of(report, "write")[0] == "unproven"
    assert "same before" in only(report, "write").outcome.because[0]


def test_a_read_back_that_differs_is_a_failure() -> None:
    report = heard(BEFORE, write("3A01", NEW), reset(), read("3A01", OLD))
    assert word_of(report, "write")[0] == "failed"


def test_the_last_read_back_decides() -> None:
    lost = heard(BEFORE, write("3A01", NEW), read("3A01", NEW), reset(), read("3A01", OLD))
    assert word_of(lost, "write")[0] == "failed"
    late = heard(BEFORE, write("3A01", NEW), read("3A01", OLD), reset(), read("3A01", NEW))
    assert word_of(late, "write")[0] == "confirmed"


@pytest.mark.parametrize("short", [NEW[:-2], NEW[:2], NEW + "00"])
def test_a_read_back_equal_only_in_its_first_bytes_is_not_equal(short: str) -> None:
    assert word_of(heard(BEFORE, write("3A01", NEW), read("3A01", short)), "write")[0] == "failed"


def test_a_refused_write_is_failed_and_names_the_refusal() -> None:
    report = heard(BEFORE, write("3A01", NEW, "7F 2E 22"))
    assert word_of(report, "write") == ("failed", "high")
    assert "22" in only(report, "write").outcome.because[0]


def test_busy_and_then_accepted_is_judged_by_the_later_attempt() -> None:
    report = heard(BEFORE, write("3A01", NEW, "7F 2E 21"), gap(0.2), write("3A01", NEW), read("3A01", NEW))
    first, second = [item for item in report.operations if item.kind == "write"]
    assert (first.outcome.word, second.outcome.word) == ("failed", "confirmed")
    assert first.superseded_by == second.number
    assert report.verdict.overall == "confirmed"


@pytest.mark.parametrize("answers", [[], ["7F 2E 78"]])
def test_a_write_without_a_final_answer_is_interrupted(answers: Sequence[str]) -> None:
    report = heard(BEFORE, ask(f"2E 3A01 {NEW}", *answers))
    assert word_of(report, "write")[0] == "interrupted"


def test_a_write_whose_message_ends_early_is_interrupted() -> None:
    report = heard(BEFORE, without(tester(f"2E 3A01 {LONG}"), 2), gap(2), read("F190", "41"))
    assert word_of(report, "write")[0] == "interrupted"


def test_an_accepted_write_with_a_hole_in_the_capture_is_never_confirmed() -> None:
    report = heard(BEFORE, without(tester(f"2E 3A01 {LONG}"), 2), module("6E 3A01"), reset(), read("3A01", LONG))
    assert word_of(report, "write")[0] == "unproven"


def test_an_identifier_never_written_has_no_write() -> None:
    assert words(heard(BEFORE, read("3A01", OLD)), "write") == []


def test_the_same_identifier_of_another_module_proves_nothing() -> None:
    report = heard(BEFORE, write("3A01", NEW), reset(), read("3A01", NEW, on=KEEPER))
    assert word_of(report, "write")[0] == "unproven"


def test_another_identifier_with_the_same_value_proves_nothing() -> None:
    report = heard(BEFORE, write("3A01", NEW), reset(), read("3A02", NEW))
    assert word_of(report, "write")[0] == "unproven"


def test_a_read_before_the_write_is_no_read_back() -> None:
    report = heard(BEFORE, read("3A01", OLD), write("3A01", NEW))
    assert word_of(report, "write")[0] == "unproven"


def test_a_refused_read_is_no_read_back() -> None:
    report = heard(BEFORE, write("3A01", NEW), reset(), ask("22 3A01", "7F 22 33"))
    assert word_of(report, "write")[0] == "unproven"


def test_a_read_sent_before_the_write_was_answered_is_no_read_back() -> None:
    report = heard(
        BEFORE, tester(f"2E 3A01 {NEW}"), tester("22 3A01"), module("6E 3A01"), module(f"62 3A01 {NEW}"),
    )  # fmt: skip
    assert word_of(report, "write")[0] == "unproven"


def test_several_identifiers_in_one_read_prove_each_write() -> None:
    report = heard(
        read("3A01", OLD), read("3A02", OLD), EXTENDED, write("3A01", NEW), write("3A02", "02264032"), reset(),
        ask("22 3A01 3A02", f"62 3A01 {NEW} 3A02 02264032"),
    )  # fmt: skip
    assert words(report, "write") == ["confirmed", "confirmed"]


def test_ignored_fields_may_differ() -> None:
    report = heard(
        read("3A10", "000101"), EXTENDED, write("3A10", "123400"), reset(), read("3A10", "123407"), names=NAMES
    )
    assert word_of(report, "write")[0] == "confirmed"
    other = heard(
        read("3A10", "000101"), EXTENDED, write("3A10", "123400"), reset(), read("3A10", "123507"), names=NAMES
    )
    assert word_of(other, "write")[0] == "failed"


def test_a_value_stored_at_power_down_needs_a_power_cycle() -> None:
    same = heard(read("3A00", OLD), EXTENDED, write("3A00", NEW), read("3A00", NEW), names=NAMES)
    assert word_of(same, "write")[0] == "unproven"
    after = heard(read("3A00", OLD), EXTENDED, write("3A00", NEW), reset(), read("3A00", NEW), names=NAMES)
    assert word_of(after, "write") == ("confirmed", "high")


@pytest.mark.parametrize("identifier", ["F184", "F15A", "F199", "F187", "F1A0"])
def test_identification_and_fingerprints_written_by_the_tester_never_count(identifier: str) -> None:
    report = heard(EXTENDED, write(identifier, NEW, "7F 2E 31"))
    assert words(report, "write") == ["failed"]
    assert only(report, "write").part is None
    assert not report.verdict.attempted


def test_vin_and_other_data_count_each_in_its_part() -> None:
    vin = b"E0VLK3P00SM018931".hex()
    report = heard(EXTENDED, write("F190", vin), write("3A01", NEW))
    assert [item.part for item in report.operations if item.kind == "write"] == ["vin", "trims"]


# copies


def test_the_same_bytes_read_from_another_module_before_are_a_copy() -> None:
    report = heard(read("3A01", NEW, on=KEEPER), BEFORE, write("3A01", NEW))
    assert only(report, "write").details["source_link"] == "can0:7E1>7E9"


@pytest.mark.parametrize("value", ["FFFFFFFF", "00000000", "1234"])
def test_blank_or_very_short_values_are_no_copy(value: str) -> None:
    report = heard(read("3A01", value, on=KEEPER), read("3A01", "55"), EXTENDED, write("3A01", value))
    assert only(report, "write").details["source_link"] is None


def test_bytes_read_only_afterwards_are_no_source() -> None:
    report = heard(read("F190", "41", on=KEEPER), BEFORE, write("3A01", NEW), read("3A01", NEW, on=KEEPER))
    assert only(report, "write").details["source_link"] is None


# plausible sessions in which the module may hold something else


def test_memory_erased_after_the_read_back_may_have_lost_the_value() -> None:
    report = heard(BEFORE, write("3A01", NEW), reset(), read("3A01", NEW), enter(), programming(), reset())
    assert word_of(report, "write")[0] == "unproven"
    again = heard(BEFORE, write("3A01", NEW), reset(), enter(), programming(), reset(), read("3A01", NEW))
    assert word_of(again, "write")[0] == "confirmed"


def test_a_functional_write_is_proved_only_for_the_module_that_was_read() -> None:
    report = heard(
        BEFORE, read("3A01", OLD, on=KEEPER), everybody(f"2E 3A01 {NEW}"), module("6E 3A01"), module("6E 3A01", KEEPER),
        read("3A01", NEW),
    )  # fmt: skip
    assert words(report, "write", "7E0>") == ["confirmed"]
    assert words(report, "write", "7E1>") == ["unproven"]


def test_a_functional_write_that_a_module_did_not_answer_is_no_write_to_it() -> None:
    report = heard(BEFORE, read("3A01", OLD, on=KEEPER), everybody(f"2E 3A01 {NEW}"), module("6E 3A01"))
    assert words(report, "write", "7E1>") == []
    nobody = heard(BEFORE, read("3A01", OLD, on=KEEPER), everybody(f"2E 3A01 {NEW}"), gap(2))
    assert words(nobody, "write") == []


def test_a_later_write_by_another_tester_replaces_a_proved_one() -> None:
    one, two = Side(0x18DA2AF1, 0x18DAF12A), Side(0x18DA2AF9, 0x18DAF92A)
    report = heard(
        read("3A01", OLD, on=one), write("3A01", NEW, on=one), read("3A01", NEW, on=one),
        read("3A01", NEW, on=two), write("3A01", "55667788", on=two),
    )  # fmt: skip
    first, second = [item for item in report.operations if item.kind == "write"]
    assert first.superseded_by == second.number
    assert second.outcome.word == "unproven"


def test_a_read_by_another_tester_is_no_read_of_this_link() -> None:
    one, two = Side(0x18DA2AF1, 0x18DAF12A), Side(0x18DA2AF9, 0x18DAF92A)
    report = heard(
        read("3A01", OLD, on=one), read("3A01", OLD, on=two), write("3A01", NEW, on=one), read("3A01", NEW, on=one)
    )  # fmt: skip
    assert word_of(report, "write") == ("confirmed", "medium")
    assert any("second tester" in text for text in only(report, "write").outcome.because)


def test_an_unanswered_second_write_makes_the_value_unsure() -> None:
    report = heard(BEFORE, write("3A01", NEW), tester("2E 3A01 55667788"), gap(6), read("3A01", NEW))
    assert report.verdict.overall == "interrupted"


def test_a_write_is_never_confirmed_by_a_read_whose_answer_is_not_whole() -> None:
    report = heard(BEFORE, write("3A01", LONG), tester("22 3A01"), without(module(f"62 3A01 {LONG}"), 2), gap(2))
    assert word_of(report, "write")[0] == "unproven"


def test_pump_and_keeper_are_not_mixed_up() -> None:
    report = heard(BEFORE, write("3A01", NEW, on=PUMP), write("3A01", LONG, on=KEEPER), read("3A01", NEW))
    assert words(report, "write", "7E0>") == ["confirmed"]
    assert words(report, "write", "7E1>") == ["unproven"]


def test_a_write_whose_answer_the_record_lacks_is_not_proven_by_itself_when_it_reads_as_written() -> None:
    unanswered = [write("3A01", NEW)[:1], write("3A02", "0102")]
    report = heard(BEFORE, unanswered, reset(), read("3A01", NEW), names=NAMES)
    outcome = of_kind(report, "write")[0].outcome
    assert (outcome.word, outcome.confidence) == ("unproven", "medium")
    assert outcome.would_change.startswith("nothing needed")
    assert "its answer is missing; it reads as written" in outcome.because[0]


@pytest.mark.parametrize("since", [[], [read("3A01", OLD)]], ids=["not read", "reads otherwise"])
def test_a_write_whose_answer_the_record_lacks_is_open_without_a_reading_of_it(since: list[object]) -> None:
    report = heard(BEFORE, [write("3A01", NEW)[:1], write("3A02", "0102")], reset(), since, names=NAMES)
    assert of_kind(report, "write")[0].outcome.word == "interrupted"


def test_an_identifier_that_is_unknown_behind_a_later_restart_takes_the_proof_away() -> None:
    written = [write("4A10", "11223344"), reset(), read("4A10", "11223344")]
    unknown = ask("22 4A10", "7F 22 31")
    report = heard(written, reset(), unknown)
    assert word_of(report, "write")[0] == "unproven"
    assert "since a later restart its reading was refused with 31" in only(report, "write").outcome.because[0]
    assert word_of(heard(written, reset(), unknown, read("4A10", "11223344")), "write")[0] == "confirmed"
    # Without a restart, or in another session, it may only not be told there: ISO 14229-1:2020, 11.2 (M).
    assert word_of(heard(written, unknown), "write")[0] == "confirmed"
    assert word_of(heard(written, reset(), ask("10 03", "50 03 0032 01F4"), unknown), "write")[0] == "confirmed"
