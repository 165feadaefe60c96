"""Who fell silent first: module, tester, everything, or only the record. Common practice, no source."""

from __future__ import annotations

from pathlib import Path

from talk import (
    ERASE,
    IMAGE,
    KEEPER,
    Talk,
    ask,
    block,
    cyclic,
    enter,
    everybody,
    frame,
    gap,
    heard,
    read,
    request,
    tester,
    without,
)  # fmt: skip

from analysis import analyse
from analysis.breaks.silence import Silent, who_fell_silent
from analysis.report.model import Report

FIXTURES = Path(__file__).parents[3] / "fixtures"
BEFORE: list[Talk] = [read("F190", "41"), enter(), ask(*ERASE), request(), block(1, IMAGE[:32])]
CUT = without(tester(bytes([0x36, 2]) + IMAGE[32:64]), 4, 5)
OTHERS = cyclic(0x120, 100)


def who(*talk: Talk) -> Silent:
    report: Report = heard(*talk)
    return who_fell_silent(report.record.stories[0], report.record)


def test_a_record_that_stops_with_the_last_frame_says_nothing_of_the_module() -> None:
    assert who(BEFORE, CUT) is Silent.CAPTURE_ENDED


def test_a_request_at_the_very_end_after_a_long_pause_says_nothing_of_the_module() -> None:
    assert who(BEFORE, cyclic(0x120, 30), gap(10), tester("22 F190")) is Silent.CAPTURE_ENDED


def test_requests_that_go_on_without_an_answer_show_a_silent_module() -> None:
    retries = [[tester("3E 00"), gap(2)] for _ in range(3)]
    assert who(BEFORE, retries, OTHERS) is Silent.MODULE


def test_one_request_that_waited_in_vain_while_the_bus_went_on_shows_a_silent_module() -> None:
    assert who(BEFORE, tester("22 F190"), OTHERS) is Silent.MODULE


def test_a_bus_that_goes_on_while_the_tester_stops_inside_a_transfer_shows_a_silent_tester() -> None:
    assert who(BEFORE, OTHERS) is Silent.TESTER
    assert who(BEFORE, CUT, OTHERS) is Silent.TESTER


def test_everything_that_stops_at_once_while_the_capture_goes_on_is_everything() -> None:
    talk = [cyclic(0x120, 20), cyclic(0x121, 3, every_ms=20), BEFORE, CUT]
    back = [gap(8), cyclic(0x120, 80), cyclic(0x121, 80)]
    assert who(talk, back) is Silent.EVERYTHING
    assert who(talk, gap(8), frame(0x700, "00", "can1")) is Silent.EVERYTHING


def test_one_id_that_stops_while_another_goes_on_is_not_everything() -> None:
    talk = [cyclic(0x121, 3, every_ms=20), cyclic(0x120, 20), BEFORE, CUT, OTHERS, cyclic(0x121, 3)]
    assert who(talk) is Silent.TESTER


def test_nothing_open_and_nothing_asked_is_nobody() -> None:
    assert who(read("F190", "41"), OTHERS) is Silent.NOBODY
    assert who(read("F190", "41")) is Silent.NOBODY


def test_an_answer_that_was_promised_and_never_came_shows_a_silent_module() -> None:
    assert who(BEFORE, ask("31 01 0266", "7F 31 78"), OTHERS, OTHERS) is Silent.MODULE


def test_without_times_two_requests_in_vain_show_a_silent_module() -> None:
    def stop(lines: list[str]) -> list[str]:
        return [f"(0000000000.000000) {text.split(' ', 1)[1]}" for text in lines]

    def silent(*talk: Talk) -> Silent:
        report = heard(*talk, edit=stop)
        return who_fell_silent(report.record.stories[0], report.record)

    assert silent(BEFORE, tester("3E 00"), tester("22 F190")) is Silent.MODULE
    assert silent(BEFORE, tester("22 F190")) is Silent.UNKNOWN
    assert silent(BEFORE) is Silent.NOBODY


def test_another_modules_answers_do_not_speak_for_this_one() -> None:
    asked = [[tester("22 F190"), gap(2), read("F190", "42", on=KEEPER)] for _ in range(3)]
    assert who(BEFORE, asked, OTHERS) is Silent.MODULE


def test_a_module_that_the_gateway_cannot_reach_is_not_merely_silent() -> None:
    """ISO 13400-2:2019, code 06 of the negative acknowledgement (M), in lines 76, 80, 84 and 88."""
    capture = FIXTURES / "doip-module-silent" / "capture.pcap"
    verdict = analyse([capture], names=[FIXTURES / "doip_names.toml"]).verdict
    said = "the gateway cannot reach PCU (lines 76, 80, 84, 88)"
    assert said in verdict.headline
    assert any(said in step for step in verdict.next_steps)


def test_a_block_sent_to_all_modules_is_nobodys_transfer() -> None:
    report = heard(read("F190", "41"), everybody("36 01 02 03"), gap(3), tester("22 F190"), gap(3))
    assert not [item for item in report.operations if item.kind == "download"]
    assert report.to_dict()["modules"]
