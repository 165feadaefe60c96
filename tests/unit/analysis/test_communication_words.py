"""Communication control and fault storing. ISO 14229-1:2020, 10.5 and 10.8 (M)."""

from __future__ import annotations

from talk import Talk, ask, cyclic, everybody, gap, heard, only, read, tester, word_of

BEFORE: list[Talk] = [read("F190", "41"), cyclic(0x120, 30)]


def communication_word(*talk: Talk) -> str:
    return word_of(heard(*talk), "communication")[0]


def test_silence_that_begins_with_the_request_confirms_it() -> None:
    talk = [BEFORE, everybody("28 83 01"), gap(5), read("F190", "41"), gap(5), cyclic(0x120, 5)]
    assert communication_word(talk) == "confirmed"


def test_frames_that_return_with_the_request_confirm_it() -> None:
    talk = [BEFORE, gap(5), ask("28 00 01", "68 00"), cyclic(0x120, 30)]
    assert communication_word(talk) == "confirmed"


def test_an_accepted_request_without_effect_is_not_proven() -> None:
    assert communication_word(BEFORE, ask("28 03 01", "68 03"), cyclic(0x120, 30)) == "unproven"
    assert communication_word(BEFORE, everybody("28 83 01"), cyclic(0x120, 30)) == "unproven"


def test_the_testers_own_pause_is_no_effect() -> None:
    talk = [[read("F190", "41"), gap(0.1)] for _ in range(20)]
    assert communication_word(talk, ask("28 03 01", "68 03"), gap(8), read("F190", "41")) == "unproven"


def test_frames_that_stop_on_another_channel_are_no_effect() -> None:
    other = cyclic(0x120, 30, channel="can1")
    talk = [read("F190", "41"), other, ask("28 03 01", "68 03"), gap(5), cyclic(0x120, 5, channel="can1")]
    assert communication_word(talk) == "unproven"


def test_storing_of_faults_has_no_effect_to_be_seen() -> None:
    assert communication_word(BEFORE, ask("85 02", "C5 02"), gap(5), cyclic(0x120, 5)) == "unproven"
    assert communication_word(BEFORE, everybody("85 82"), gap(5), cyclic(0x120, 5)) == "unproven"


def test_a_refusal_is_a_failure() -> None:
    assert communication_word(BEFORE, ask("28 03 01", "7F 28 22")) == "failed"


def test_no_answer_is_interrupted() -> None:
    assert communication_word(BEFORE, tester("28 03 01"), gap(6)) == "interrupted"


def test_it_never_counts_in_the_overall_word() -> None:
    assert not heard(BEFORE, ask("28 03 01", "7F 28 22")).verdict.attempted


def test_an_order_to_all_that_one_id_does_not_obey_is_not_proven() -> None:
    both = [[cyclic(0x120, 1, 50), cyclic(0x220, 1, 50)] for _ in range(30)]
    goes_on = cyclic(0x220, 30)
    report = heard(read("F190", "41"), both, everybody("28 83 01"), goes_on, both)
    assert only(report, "communication").outcome.word == "unproven"
    assert "220 goes on" in only(report, "communication").outcome.because[0]


def test_an_order_to_one_module_is_confirmed_whatever_the_others_send() -> None:
    both = [[cyclic(0x120, 1, 50), cyclic(0x220, 1, 50)] for _ in range(30)]
    assert communication_word(both, ask("28 03 01", "68 03"), cyclic(0x220, 30), both) == "confirmed"
