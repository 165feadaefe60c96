"""Diagnostic messages of ISO 13400-2 from packets: whole, broken, acknowledged, refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from doip_wire import GROUP, TESTER, Dialogue, acknowledge, activation, diagnostic, rebuilt
from scapy.contrib.automotive.doip import DoIP
from scapy.packet import Raw

from analysis import analyse
from analysis.cli import main
from canlog.doip.headers import BYTES_LOST, KINDS, NO_HEADER, read_header
from canlog.doip.reassembly import ACTIVATION_REFUSED, CONNECTION_RESET, NEGATIVE_ACKNOWLEDGE, NOT_DELIVERED
from canlog.isotp.addressing import Addressing, parse_link
from canlog.isotp.messages import NOT_REACHED, Missing

LONG = bytes([0x36, 0x01]) + bytes(range(256)) * 20  # four segments


@pytest.fixture(name="wire")
def opened() -> Dialogue:
    wire = Dialogue()
    wire.open()
    return wire


def test_request_acknowledgement_and_answer_make_a_link_by_logical_addresses(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(False, activation())
    wire.say(True, diagnostic(b"\x22\xf1\x90", request=True))
    wire.say(False, acknowledge())
    wire.say(False, diagnostic(b"\x62\xf1\x90" + b"V" * 17, request=False))
    table, _ = rebuilt(tmp_path, wire.pcap())
    assert [link.key for link in table.links] == ["doip:0E00>1010"]
    assert "1 of 1 requests acknowledged; routing activated at packet 4" in table.links[0].how
    request, response = table
    assert (request.data, request.lines, request.flow_control_lines) == (b"\x22\xf1\x90", (5, 5), (6,))
    assert (response.data[:3], response.direction.value, response.complete) == (b"\x62\xf1\x90", "response", True)


def test_a_message_in_several_segments_is_one_with_the_packets_it_came_in(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, diagnostic(LONG, request=True))
    (message,) = rebuilt(tmp_path, wire.pcap())[0]
    assert (message.data, message.complete, message.lines, message.n_frames) == (LONG, True, (4, 7), 4)


def test_packets_that_overtook_each_other_make_a_message_from_the_first_line_to_the_last(
    wire: Dialogue, tmp_path: Path
) -> None:
    wire.say(True, diagnostic(LONG, request=True))
    records = wire.packets
    records[3], records[5] = (records[3][0], records[5][1]), (records[5][0], records[3][1])
    (message,) = rebuilt(tmp_path, wire.pcap())[0]
    assert (message.data, message.lines, message.n_frames) == (LONG, (4, 7), 4)


def test_several_messages_in_one_segment_are_told_apart(wire: Dialogue, tmp_path: Path) -> None:
    both = bytes(acknowledge()) + bytes(diagnostic(b"\x50\x03", request=False))
    wire.say(True, diagnostic(b"\x10\x03", request=True))
    wire.segment(False, "PA", both)
    request, response = rebuilt(tmp_path, wire.pcap())[0]
    assert request.flow_control_lines == (5,) and response.data == b"\x50\x03"


@pytest.mark.parametrize("cut", range(1, 14))
def test_a_header_may_be_cut_anywhere_by_a_segment(cut: int, wire: Dialogue, tmp_path: Path) -> None:
    content = bytes(diagnostic(b"\x10\x03", request=True))
    for part in (content[:cut], content[cut:]):
        wire.segment(True, "PA", part)
    (message,) = rebuilt(tmp_path, wire.pcap())[0]
    assert (message.data, message.lines) == (b"\x10\x03", (4, 5))


def test_a_lost_segment_leaves_a_hole_of_known_size_and_the_next_message_whole(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, diagnostic(LONG, request=True))
    wire.say(True, diagnostic(b"\x37", request=True))
    wire.drop(5)
    table, _ = rebuilt(tmp_path, wire.pcap())
    broken, whole = table
    assert (broken.complete, broken.reason, broken.has_hole) == (False, BYTES_LOST, True)
    assert broken.missing == (Missing(1460 - 12, 2 * 1460 - 12),)
    assert broken.data[: 1460 - 12] == LONG[: 1460 - 12] and broken.data[2 * 1460 - 12 :] == LONG[2 * 1460 - 12 :]
    assert whole.data == b"\x37" and whole.complete
    assert [stray.rule for stray in table.strays] == [BYTES_LOST]


def test_behind_a_hole_a_message_is_found_again_only_where_a_segment_begins_with_one(
    wire: Dialogue, tmp_path: Path
) -> None:
    inner = bytes(diagnostic(b"\x2e\xf1\x90planted", request=True))
    wire.say(True, diagnostic(b"\x36\x01" + bytes(1400) + inner * 30, request=True))
    wire.say(True, diagnostic(b"\x37", request=True))
    wire.drop(4)  # the segment with the header
    assert [message.data for message in rebuilt(tmp_path, wire.pcap())[0]] == [b"\x37"]


def test_bytes_lost_at_the_end_of_a_message_are_missing_too(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, diagnostic(LONG, request=True))
    wire.say(True, diagnostic(b"\x37", request=True))
    wire.drop(7)
    broken, whole = rebuilt(tmp_path, wire.pcap())[0]
    seen = 3 * 1460 - 12
    assert (broken.missing, broken.data, broken.reason) == ((Missing(seen, len(LONG)),), LONG[:seen], BYTES_LOST)
    assert whole.data == b"\x37"


def test_a_message_that_the_capture_cuts_off_is_not_whole(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, diagnostic(LONG, request=True))
    wire.drop(6, 7)
    (message,) = rebuilt(tmp_path, wire.pcap())[0]
    assert (message.complete, message.reason, message.has_hole) == (False, "capture-ended", False)
    assert message.missing == (Missing(len(message.data), len(LONG)),)


@pytest.mark.parametrize(("flags", "reason"), [("FA", "connection-closed"), ("RA", "connection-reset")])
def test_a_message_cut_off_by_the_end_of_its_connection_says_so(
    flags: str, reason: str, wire: Dialogue, tmp_path: Path
) -> None:
    wire.segment(True, "PA", bytes(diagnostic(LONG, request=True))[:900])
    wire.segment(True, flags)
    table, _ = rebuilt(tmp_path, wire.pcap())
    assert [message.reason for message in table] == [reason]
    assert [stray.rule for stray in table.strays] == ([CONNECTION_RESET] if flags == "RA" else [])


@pytest.mark.parametrize(("code", "reason"), [(0x03, NOT_DELIVERED), (0x05, NOT_DELIVERED), (0x06, NOT_REACHED)])
def test_a_request_that_was_refused_is_not_complete(code: int, reason: str, wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, diagnostic(b"\x2e\xf1\x90new", request=True))
    wire.say(False, acknowledge(code))
    (message,) = rebuilt(tmp_path, wire.pcap())[0]
    assert (message.complete, message.reason, message.missing) == (False, reason, ())
    (anomaly,) = message.anomalies
    assert (anomaly.rule, anomaly.line) == (NEGATIVE_ACKNOWLEDGE, 5)
    assert f"({code:02X})" in anomaly.text


def test_a_refused_header_takes_the_newest_request_with_it(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, diagnostic(b"\x10\x03", request=True))
    wire.say(False, DoIP(payload_type=0x0000, nack=2))
    (message,) = rebuilt(tmp_path, wire.pcap())[0]
    assert (message.reason, message.anomalies[0].text) == (
        NOT_DELIVERED, "the vehicle refused the message's header: message too long (02)",
    )  # fmt: skip


def test_an_acknowledgement_that_quotes_a_request_belongs_to_it(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, diagnostic(b"\x3e\x00", request=True))
    wire.say(True, diagnostic(b"\x10\x02", request=True))
    wire.say(False, acknowledge(0x05, b"\x10\x02"))
    assert [message.complete for message in rebuilt(tmp_path, wire.pcap())[0]] == [True, False]


def test_acknowledgements_without_a_quotation_come_in_the_order_of_the_requests(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, diagnostic(b"\x3e\x00", request=True))
    wire.say(True, diagnostic(b"\x10\x02", request=True))
    wire.say(False, acknowledge())
    wire.say(False, acknowledge(0x05))
    assert [message.complete for message in rebuilt(tmp_path, wire.pcap())[0]] == [True, False]


def test_a_refusal_of_another_module_refuses_nothing(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, diagnostic(b"\x10\x02", request=True))
    wire.say(False, acknowledge(0x06, module=0x1011))
    assert [message.complete for message in rebuilt(tmp_path, wire.pcap())[0]] == [True]


def test_a_refused_routing_activation_is_said(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, DoIP(payload_type=0x0005, source_address=TESTER, activation_type=0))
    wire.say(False, activation(0x01))
    table, notes = rebuilt(tmp_path, wire.pcap())
    assert [stray.rule for stray in table.strays] == [ACTIVATION_REFUSED]
    assert "routing activation of tester 0E00: no connection is free (01) (packet 5)" in notes


def test_a_functional_address_makes_a_functional_link(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, diagnostic(b"\x22\xf1\x90", request=True, module=GROUP))
    wire.say(False, diagnostic(b"\x62\xf1\x90V", request=False))
    table, _ = rebuilt(tmp_path, wire.pcap())
    assert [(link.key, link.functional) for link in table.links] == [
        ("doip:0E00>1010", False), ("doip:0E00.E400>", True),
    ]  # fmt: skip


def test_two_vehicle_sides_with_the_same_logical_address_are_two_channels(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, diagnostic(b"\x10\x02", request=True))
    other = Dialogue()
    other.open()
    other.say(True, diagnostic(b"\x10\x03", request=True))
    for _, packet in other.packets:
        for side in ("src", "dst"):
            if getattr(packet["IP"], side) == "192.0.2.20":
                setattr(packet["IP"], side, "192.0.2.21")
        del packet["IP"].chksum
    wire.packets += other.packets
    table, notes = rebuilt(tmp_path, wire.pcap())
    assert [(message.link.key, message.data) for message in table] == [
        ("doip:0E00>1010", b"\x10\x02"), ("doip2:0E00>1010", b"\x10\x03"),
    ]  # fmt: skip
    assert "doip2 is the vehicle side at 192.0.2.21" in notes


def test_a_connection_opened_again_between_the_same_ports_is_read(wire: Dialogue, tmp_path: Path) -> None:
    wire.segment(True, "PA", bytes(diagnostic(LONG, request=True))[:500])
    wire.sequence = {True: 500, False: 900}
    wire.open()
    wire.say(True, diagnostic(b"\x10\x03", request=True))
    cut, whole = rebuilt(tmp_path, wire.pcap())[0]
    assert (cut.reason, whole.data, whole.complete) == ("connection-closed", b"\x10\x03", True)


def test_a_capture_that_begins_inside_a_connection_begins_with_its_first_whole_message(tmp_path: Path) -> None:
    wire = Dialogue()
    wire.segment(True, "PA", bytes(diagnostic(LONG, request=True))[500:900])
    wire.say(True, diagnostic(b"\x10\x03", request=True))
    table, _ = rebuilt(tmp_path, wire.pcap())
    assert [message.data for message in table] == [b"\x10\x03"]
    assert [stray.rule for stray in table.strays] == [NO_HEADER]


def test_tls_on_the_port_of_plain_messages_is_said(wire: Dialogue, tmp_path: Path) -> None:
    wire.segment(True, "PA", bytes.fromhex("1603010200010001fc03"))
    table, notes = rebuilt(tmp_path, wire.pcap())
    assert "the connection is encrypted (TLS): cannot be read (packet 4)" in notes
    assert {stray.rule for stray in table.strays} == {"encrypted", NO_HEADER}


def test_tls_on_its_own_port_is_said_and_not_read(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, diagnostic(b"\x10\x03", request=True))
    for _, packet in wire.packets:
        port = "dport" if packet["TCP"].dport == 13400 else "sport"
        setattr(packet["TCP"], port, 3496)
    table, notes = rebuilt(tmp_path, wire.pcap())
    assert not len(table)
    assert "4 packets are diagnostics over TLS (port 3496): encrypted, cannot be read" in notes


def test_an_announcement_becomes_a_note_once(tmp_path: Path) -> None:
    _, notes = rebuilt(tmp_path, Path(__file__).parents[3].joinpath("fixtures/doip-all-good/capture.pcap").read_bytes())
    said = [note for note in notes if "announces" in note]
    assert said == ["192.0.2.20 announces VIN INVENTED000000001, logical address 1000 (packet 1)"]


def test_a_capture_of_other_traffic_gives_a_report_that_says_so(wire: Dialogue, tmp_path: Path) -> None:
    wire.say(True, Raw(b"GET / HTTP/1.1"))
    for _, packet in wire.packets:
        port = "dport" if packet["TCP"].dport == 13400 else "sport"
        setattr(packet["TCP"], port, 80)
    path = tmp_path / "other.pcap"
    path.write_bytes(wire.pcap())
    report = analyse(path).to_dict()
    assert report["verdict"]["overall"] == "not-shown"
    (capture,) = report["captures"]
    assert capture["fitness"] == "poor"
    assert any("no diagnostics over Ethernet (port 13400)" in reason for reason in capture["fitness_reasons"])


def test_a_refused_suppressed_request_changes_no_session(wire: Dialogue, tmp_path: Path) -> None:
    """10 82 asks for no answer: only the refusal by the gateway shows that it was not done."""
    wire.say(True, diagnostic(b"\x10\x82", request=True))
    wire.say(False, acknowledge(0x06))
    path = tmp_path / "capture.pcap"
    path.write_bytes(wire.pcap())
    (exchange,) = analyse(path).to_dict()["exchanges"]
    assert exchange["outcome"] == "silent"


@pytest.mark.parametrize("text", ["doip:0E00>1010", "doip2:0E00.E400>"])
def test_a_key_over_ethernet_is_read_back(text: str) -> None:
    link = parse_link(text)
    assert (link.key, link.addressing) == (text, Addressing.DOIP)


CAPTURE = Path(__file__).parents[3] / "fixtures" / "doip-all-good" / "capture.pcap"


def listed(*arguments: str) -> list[dict[str, Any]]:
    result = CliRunner().invoke(main, ["list", str(CAPTURE), "--format", "jsonl", *arguments])
    assert result.exit_code == 0, result.output
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_what_packets_carry_is_hidden_unless_secrets_are_asked_for() -> None:
    """A packet that was sent again belongs to no message, and may hold a key all the same."""
    shown, hidden = listed("--level", "frames", "--secrets"), listed("--level", "frames")
    keys = [row for row in shown if "8001000000" in row["data"] and "0E0010102712" in row["data"]]
    assert keys
    for row in keys:
        (masked,) = [other for other in hidden if other["line"] == row["line"]]
        assert masked["data"].endswith("**") and "2712" not in masked["data"]
        assert (masked["kind"], masked["can_id"]) == ("packet", "49152")


def test_the_messages_of_one_link_are_listed_with_its_logical_addresses() -> None:
    rows = listed("--level", "messages", "--link", "0E00>1011")
    assert {(row["link"], row["can_id"]) for row in rows} == {("doip:0E00>1011", "0E00"), ("doip:0E00>1011", "1011")}
    group = listed("--level", "messages", "--link", "doip:0E00.E400>")
    assert {(row["can_id"], row["address"]) for row in group} == {("0E00", "E400")}


def test_a_second_tester_address_is_a_second_tester(wire: Dialogue, tmp_path: Path) -> None:
    for tester in (0x0E00, 0x0E01):
        for data in (b"\x10\x03", b"\x22\xf1\x90"):
            wire.say(True, DoIP(payload_type=0x8001, source_address=tester, target_address=0x1010) / data)
            answer = bytes([data[0] | 0x40]) + data[1:] + b"\0\0\0\0"
            wire.say(False, DoIP(payload_type=0x8001, source_address=0x1010, target_address=tester) / answer)
    path = tmp_path / "capture.pcap"
    path.write_bytes(wire.pcap())
    assert "two-testers" in {one.id for one in analyse(path).findings}


def test_every_payload_type_is_known_or_left_alone() -> None:
    for kind in range(0x10000):
        assert read_header(bytes.fromhex("02FD") + kind.to_bytes(2, "big") + bytes(4)) == (kind, 0)
    assert len(KINDS) == 16


@pytest.mark.parametrize("head", ["02FE800100000000", "02FD8001FFFFFFFF", "02FD8001", ""])
def test_what_cannot_be_a_header_is_none(head: str) -> None:
    assert read_header(bytes.fromhex(head)) is None
