"""Data packets of GMW3110 (AA): asked for by their numbers, answered by frames of an id of their own (M).

That the answers stand on 5E8 for 7E8 and on 54x for 64x is GMW3110 1.6 (M); the requests are built by scapy 2.8.0
(scapy.contrib.automotive.gm.gmlan).
"""

from __future__ import annotations

import pytest
from scapy.contrib.automotive.gm.gmlan import GMLAN, GMLAN_RDBPKTI
from talk import Side, Talk, ask, frame, gap, heard, tester

from analysis.exchange_words import tell
from analysis.report.model import Report

START: list[Talk] = [ask("1A C1", "5A C1 00123456"), ask("A2", "E2 00")]
ONCE, SLOW, STOP = 1, 2, 0


def wish(how: int, *packets: int) -> bytes:
    """A request for packets, as scapy builds it."""
    return bytes(
        GMLAN(service="ReadDataByPacketIdentifier") / GMLAN_RDBPKTI(subfunction=how, request_DPIDs=list(packets))
    )


def packet(number: int, value: int = 0, can_id: int = 0x5E8) -> Talk:
    return frame(can_id, f"{number:02X} {value:02X} 02 03 04 05 06 07")


def answers(report: Report) -> list[list[tuple[str, str]]]:
    """The packets by request, each with its first byte of data."""
    by_request: dict[int, list[tuple[str, str]]] = {}
    for one in report.to_dict()["packets"]:
        by_request.setdefault(one["exchange"], []).append((one["packet"], one["data"][:2]))
    return list(by_request.values())


def test_packets_asked_for_once_are_its_first_frames() -> None:
    sent = [packet(0x10, 1), packet(0x11, 2), packet(0x10, 3), packet(0x12, 4)]
    report = heard(START, tester(wish(ONCE, 0x10, 0x11)), sent)
    assert answers(report) == [[("10", "01"), ("11", "02")]]


def test_a_schedule_goes_on_until_it_is_stopped() -> None:
    sent = [packet(0x10, 1), gap(0.1), packet(0x10, 2)]
    report = heard(START, tester(wish(SLOW, 0x10)), sent, tester(wish(STOP)), packet(0x10, 9))
    assert answers(report) == [[("10", "01"), ("10", "02")]]


def test_one_packet_may_be_stopped_and_the_other_goes_on() -> None:
    """scapy names no packet behind a stop; where a tester does, the others go on."""
    report = heard(START, tester(wish(SLOW, 0x10, 0x11)), tester("AA 00 10"), packet(0x10, 9), packet(0x11, 1))
    assert answers(report) == [[("11", "01")]]


def test_a_packet_asked_for_anew_belongs_to_the_new_request() -> None:
    first, second = [tester(wish(SLOW, 0x10)), packet(0x10, 1)], [tester(wish(ONCE, 0x10)), packet(0x10, 2)]
    assert answers(heard(START, first, second)) == [[("10", "01")], [("10", "02")]]


def test_the_return_to_normal_mode_stops_all() -> None:
    report = heard(START, tester(wish(SLOW, 0x10)), packet(0x10, 1), ask("20", "60"), packet(0x10, 9))
    assert answers(report) == [[("10", "01")]]


@pytest.mark.parametrize("can_id", [0x5E9, 0x548, 0x3E8])
def test_a_frame_of_another_id_is_no_answer(can_id: int) -> None:
    assert answers(heard(START, tester(wish(ONCE, 0x10)), packet(0x10, 1, can_id))) == []


def test_a_refused_request_has_no_packets() -> None:
    report = heard(START, ask(wish(ONCE, 0x10), "7F AA 31"), packet(0x10, 1))
    assert answers(report) == []
    assert [item.nrc for item in report.record.exchanges if item.service == 0xAA] == [0x31]


def test_the_ids_of_the_other_range_are_known_too() -> None:
    side = Side(0x241, 0x641)
    start = [ask("1A C1", "5A C1 00123456", on=side), ask("A2", "E2 00", on=side)]
    report = heard(start, tester(wish(ONCE, 0x10), side), packet(0x10, 1, 0x541), links=["241:641"])
    assert answers(report) == [[("10", "01")]]


def test_a_request_to_all_is_answered_by_each() -> None:
    others = [ask("1A C1", "5A C1 00123457", on=Side(0x7E1, 0x7E9))]
    report = heard(START, others, frame(0x101, "FE 03 AA 01 10 AA AA AA"), packet(0x10, 1), packet(0x10, 2, 0x5E9))
    assert answers(report) == [[("10", "01"), ("10", "02")]]


def test_thousands_of_packets_are_read_too() -> None:
    sent = [packet(0x10 + number % 2, number % 256) for number in range(3000)]
    report = heard(START, tester(wish(SLOW, 0x10, 0x11)), sent)
    assert len(report.to_dict()["packets"]) == 3000


def test_packets_are_said_in_words_and_never_judged() -> None:
    report = heard(START, tester(wish(ONCE, 0x10, 0x11)), packet(0x10, 1), packet(0x11, 2), tester(wish(ONCE, 0x33)))
    first, second = [item for item in report.record.exchanges if item.service == 0xAA]
    said = [tell(item, "", report.record) for item in (first, second)]
    assert said[0].startswith("data packets 10, 11, once: 10 01020304050607 (line ")
    assert said[1] == "data packets 33, once: answered by frames of an id of their own, if at all"
    assert not report.verdict.attempted
    assert "request-unanswered" not in {item.id for item in report.findings}


def test_another_dialect_has_no_packets() -> None:
    talk: list[Talk] = [ask("22 F190", "62 F190 41"), ask("10 03", "50 03 0032 01F4"), ask("3E 00", "7E 00")]
    report = heard(talk, tester("AA 01 10"), packet(0x10, 1))
    assert answers(report) == []


def test_many_faults_are_read_from_their_frames() -> None:
    """More than the first pass keeps of an id."""
    faults = [frame(0x5E8, f"81 01 {number:02X} 00 2F 00 00 00") for number in range(1, 41)]
    report = heard(START, tester("A9 81 FF"), faults, frame(0x5E8, "81 00 00 00 00 00 00 00"))
    assert len(report.record.stories[0].reports) == 41
