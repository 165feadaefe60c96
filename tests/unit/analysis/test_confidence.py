"""What a capture suffered lowers a word or only how sure it is: the table of doubts, row by row."""

from __future__ import annotations

import pytest
from talk import (
    CHECK,
    ERASE,
    IMAGE,
    KEEPER,
    NAMES,
    SOFTWARE,
    Side,
    Talk,
    ask,
    block,
    blocks,
    enter,
    frame,
    gap,
    heard,
    line,
    module,
    only,
    programming,
    read,
    request,
    reset,
    tester,
    without,
    word_of,
    write,
)  # fmt: skip

DROP = line("DROPCOUNT: dropped 5 CAN frames on 'can0' socket (total drops 5)")
DAMAGED = line("(1795000001.000000) can0 7E8#0G")
OLD, NEW = "FFFFFFFF", "01264031"
BEFORE: list[Talk] = [read("3A01", OLD), ask("10 03", "50 03 0032 01F4")]
PROVED: list[Talk] = [write("3A01", NEW), reset(), read("3A01", NEW)]
GOOD = ask(CHECK, "71 01 0266 00")
LOSSES = pytest.mark.parametrize("loss", [DROP, DAMAGED], ids=["drop", "damaged"])


def test_nothing_wrong_is_high() -> None:
    assert word_of(heard(BEFORE, PROVED), "write") == ("confirmed", "high")


@LOSSES
def test_a_loss_elsewhere_on_the_channel_is_medium(loss: Talk) -> None:
    report = heard(BEFORE, loss, read("F190", "41"), gap(5), PROVED)
    assert word_of(report, "write") == ("confirmed", "medium")
    assert any("missing or unreadable" in text for text in only(report, "write").outcome.because)


@LOSSES
def test_a_loss_between_act_and_proof_is_medium(loss: Talk) -> None:
    report = heard(BEFORE, write("3A01", NEW), loss, reset(), read("3A01", NEW))
    assert word_of(report, "write") == ("confirmed", "medium")


@LOSSES
def test_a_loss_inside_the_proof_takes_the_confirmation_away(loss: Talk) -> None:
    proof = [tester("22 3A01"), loss, module(f"62 3A01 {NEW}")]
    report = heard(BEFORE, write("3A01", NEW), reset(), proof)
    assert word_of(report, "write")[0] == "unproven"


@LOSSES
def test_a_loss_inside_a_download_with_its_own_check_whole_stays_confirmed_medium(loss: Talk) -> None:
    talk = [enter(), ask(*ERASE), request(), blocks()[:1], loss, blocks()[1:], ask("37", "77"), GOOD]
    assert word_of(heard(read("F190", "41"), talk, names=NAMES), "download") == ("confirmed", "medium")


@LOSSES
def test_a_loss_inside_the_check_takes_the_confirmation_away(loss: Talk) -> None:
    talk = [enter(), programming(), tester(CHECK), loss, module("71 01 0266 00")]
    assert word_of(heard(read("F190", "41"), talk, names=NAMES), "download")[0] == "unproven"


def test_each_part_of_a_proof_must_be_whole() -> None:
    fit = ask("31 01 FF01", "71 01 FF01 00")
    broken = [tester("31 01 FF01"), DROP, module("71 01 FF01 00")]
    before = [read("F188", SOFTWARE), enter(), programming()]
    after = [reset(), read("F188", SOFTWARE)]
    assert word_of(heard(before, fit, after), "download")[0] == "confirmed"
    assert word_of(heard(before, broken, after), "download")[0] == "unproven"


def test_blocks_lost_without_a_trace_open_the_account() -> None:
    talk = [enter(), ask(*ERASE), request(), blocks()[:1], blocks()[2:], ask("37", "77"), reset()]
    report = heard(read("F188", SOFTWARE), talk, read("F188", b"PCU-SW-1207"))
    assert word_of(report, "download")[0] == "unproven"


def test_a_frame_missing_in_a_message_of_the_download_is_proved_only_by_the_check() -> None:
    hole = [without(tester(bytes([0x36, 2]) + IMAGE[32:64]), 3), module("76 02")]
    talk = [enter(), ask(*ERASE), request(), blocks()[:1], hole, blocks()[2:], ask("37", "77")]
    assert word_of(heard(read("F190", "41"), talk, GOOD, names=NAMES), "download") == ("confirmed", "medium")
    changed = [reset(), read("F188", b"PCU-SW-1207")]
    assert word_of(heard(read("F188", SOFTWARE), talk, changed), "download")[0] == "unproven"


def test_frames_moved_by_a_little_refuse_the_proof() -> None:
    """The read-back stands behind the write's answer, but its clock says that it came before."""
    talk = [tester(f"2E 3A01 {NEW}"), tester("22 3A01"), module(f"62 3A01 {NEW}"), module("6E 3A01")]

    def edit(lines: list[str]) -> list[str]:
        *rest, asked, read_asked, read_answer, answer = lines
        return [*rest, asked, answer, read_asked, read_answer]

    assert word_of(heard(BEFORE, talk, edit=edit), "write")[0] != "confirmed"


def test_a_block_of_frames_moved_by_a_little_refuses_the_proof() -> None:
    """Nothing in the read-back itself is out of order, but its clock lies before the write's answer."""
    talk = [
        tester(f"2E 3A01 {NEW}"),
        frame(0x123, "00"),
        tester("22 3A01"),
        module(f"62 3A01 {NEW}"),
        module("6E 3A01"),
    ]

    def edit(lines: list[str]) -> list[str]:
        *rest, asked, other, read_asked, read_answer, answer = lines
        return [*rest, asked, answer, other, read_asked, read_answer]

    assert word_of(heard(BEFORE, talk, edit=edit), "write")[0] == "unproven"


def test_without_times_a_read_sent_before_the_answer_to_the_write_is_no_proof() -> None:
    def edit(lines: list[str]) -> list[str]:
        return [f"(0000000000.000000) {text.split(' ', 1)[1]}" for text in lines]

    talk = [tester(f"2E 3A01 {NEW}"), tester("22 3A01"), module("6E 3A01"), module(f"62 3A01 {NEW}")]
    assert word_of(heard(BEFORE, talk, edit=edit), "write")[0] == "unproven"


def test_a_clock_that_was_set_keeps_the_order_of_lines_at_medium() -> None:
    def edit(lines: list[str]) -> list[str]:
        at = next(index for index, text in enumerate(lines) if "7E0#021101" in text)
        return lines[:at] + [text.replace("(17950", "(17940") for text in lines[at:]]

    report = heard(BEFORE, PROVED, edit=edit)
    assert word_of(report, "write") == ("confirmed", "medium")
    assert any("clock" in text for text in only(report, "write").outcome.because)


def test_a_clock_set_elsewhere_lowers_nothing() -> None:
    def edit(lines: list[str]) -> list[str]:
        return lines[:2] + [text.replace("(17950", "(17940") for text in lines[2:]]

    assert word_of(heard(BEFORE, PROVED, edit=edit), "write") == ("confirmed", "high")


def test_disorder_of_another_channel_is_harmless() -> None:
    def edit(lines: list[str]) -> list[str]:
        late = "(1795000009.000000) can1 123#00\n(1795000008.000000) can1 123#01"
        return [*lines[:-2], *late.split("\n"), *lines[-2:]]

    assert word_of(heard(BEFORE, PROVED, edit=edit), "write") == ("confirmed", "high")


def test_a_capture_without_times_still_has_its_words() -> None:
    def edit(lines: list[str]) -> list[str]:
        return [f"(0000000000.000000) {text.split(' ', 1)[1]}" for text in lines]

    assert word_of(heard(BEFORE, PROVED, edit=edit), "write")[0] == "confirmed"
    report = heard(BEFORE, write("3A01", NEW), read("3A01", OLD), edit=edit)
    assert word_of(report, "write")[0] == "failed"


def test_a_relative_clock_has_the_same_words() -> None:
    def edit(lines: list[str]) -> list[str]:
        return [text.replace("(17950", "(00000") for text in lines]

    assert word_of(heard(BEFORE, PROVED, edit=edit), "write") == ("confirmed", "high")


def test_nearly_every_frame_twice_costs_no_confidence() -> None:
    def edit(lines: list[str]) -> list[str]:
        return [text for one in lines for text in (one, one)]

    report = heard(BEFORE, PROVED, edit=edit)
    assert word_of(report, "write") == ("confirmed", "high")
    assert any("twice" in reason for reason in report.record.captures[0].trust.reasons)


def test_single_frames_recorded_twice_are_medium() -> None:
    def edit(lines: list[str]) -> list[str]:
        at = next(index for index, text in enumerate(lines) if "7E8#036E3A01" in text)
        return [*lines[: at + 1], lines[at], *lines[at + 1 :]]

    assert word_of(heard(BEFORE, PROVED, edit=edit), "write") == ("confirmed", "medium")


def test_two_testers_of_a_module_are_medium() -> None:
    one, two = Side(0x18DA2AF1, 0x18DAF12A), Side(0x18DA2AF9, 0x18DAF92A)
    talk = [read("3A01", OLD, on=one), read("F190", "41", on=two), write("3A01", NEW, on=one)]
    report = heard(talk, ask("11 01", "51 01", on=one), gap(2), read("3A01", NEW, on=one))
    assert word_of(report, "write") == ("confirmed", "medium")


def test_a_link_that_is_only_presumed_is_low() -> None:
    report = heard(read("F190", "41", on=KEEPER), tester("2E 3A01 11223344"), gap(6), tester("22 F190"), gap(6))
    found = [item for item in report.operations if item.kind == "write"]
    assert [item.outcome.word for item in found] == ["interrupted"]
    assert found[0].outcome.confidence == "low"


def test_a_capture_that_ends_inside_is_interrupted() -> None:
    talk = [enter(), ask(*ERASE), request(), block(1, IMAGE[:32]), without(tester(bytes([0x36, 2]) + IMAGE[32:64]), 5)]
    assert word_of(heard(read("F190", "41"), talk), "download")[0] == "interrupted"


def test_a_word_that_is_not_confirmed_says_what_would_change_it() -> None:
    proof = [tester("22 3A01"), DROP, module(f"62 3A01 {NEW}")]
    outcome = only(heard(BEFORE, write("3A01", NEW), reset(), proof), "write").outcome
    assert outcome.would_change
    assert outcome.because


@pytest.mark.parametrize(
    ("talk", "kind"),
    [
        ([ask("2E 3A01 01 02", "6E 3A01 55"), reset(), read("3A01", b"\x01\x02")], "write"),
        ([ask("14 FFFFFF", "54 00"), ask("19 02 FF", "59 02 FF")], "clear"),
    ],
)
def test_an_answer_longer_than_the_standards_never_passes_unnoticed(talk: list[Talk], kind: str) -> None:
    report = heard(read("F190", "41"), ask("10 03", "50 03 0032 01F4"), talk)
    assert word_of(report, kind) == ("confirmed", "medium")
    assert any("longer than the standard's" in text for text in only(report, kind).outcome.because)


def test_a_record_of_the_makers_in_the_answer_to_an_exit_is_no_surplus() -> None:
    done = [enter(), ask(*ERASE), request(), *blocks(), ask("37", "77 00"), ask(CHECK, "71 01 0266 00"), reset()]
    assert word_of(heard(read("F188", SOFTWARE), done, names=NAMES), "download") == ("confirmed", "high")
