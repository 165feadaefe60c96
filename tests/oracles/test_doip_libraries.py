"""ISO 13400-2 against two libraries: doipclient 1.2.2 (it packs, we read) and scapy 2.8.0 (we read what it builds).

scapy's layer knows every payload type that we know; doipclient says what the codes mean.
"""

from __future__ import annotations

import socket
from pathlib import Path
from threading import Thread

import pytest
from doipclient import messages as theirs
from doipclient.client import DoIPClient, Parser
from doipclient.messages import payload_type_to_message
from scapy.contrib.automotive.doip import DoIP
from scapy.layers.inet import TCP
from scapy.packet import Padding
from scapy.utils import rdpcap
from simulator.ethernet import Wire

from canlog.capture.ip import SYN, Datagram
from canlog.capture.ip import TCP as TCP_NUMBER
from canlog.doip import codes
from canlog.doip.headers import DoipMessage, DoipStream, Kind
from canlog.doip.pieces import Place, TcpStream
from canlog.isotp.addressing import Direction
from canlog.read import read_capture, rebuild

FIXTURES = Path(__file__).parents[2] / "fixtures"
CAPTURES = sorted(FIXTURES.glob("doip-*/capture.pcap"))


def read(content: bytes) -> list[DoipMessage]:
    tcp, doip = TcpStream(), DoipStream()
    doip.begin()
    list(tcp.feed(Datagram(TCP_NUMBER, b"", b"", 1, 13400, 99, SYN, b"", 0, False), Place(1, 1, 1)))
    datagram = Datagram(TCP_NUMBER, b"", b"", 1, 13400, 100, 0, content, len(content), False)
    return [message for piece in tcp.feed(datagram, Place(2, 2, 2)) for message in doip.feed(piece)]


BUILT = [
    theirs.RoutingActivationRequest(0x0E00, 0),
    theirs.RoutingActivationResponse(0x0E00, 0x1000, 0x10),
    theirs.DiagnosticMessage(0x0E00, 0x1010, b"\x22\xf1\x90"),
    theirs.DiagnosticMessagePositiveAcknowledgement(0x1010, 0x0E00, 0, b"\x22\xf1"),
    theirs.DiagnosticMessageNegativeAcknowledgement(0x1010, 0x0E00, 6),
    theirs.AliveCheckRequest(),
    theirs.AliveCheckResponse(0x0E00),
    theirs.GenericDoIPNegativeAcknowledge(2),
    theirs.DiagnosticPowerModeResponse(1),
]


@pytest.mark.parametrize("message", BUILT, ids=lambda message: type(message).__name__)
@pytest.mark.parametrize("version", [2, 3])
def test_what_doipclient_packs_is_cut_out_the_same(message: theirs.DoIPMessage, version: int) -> None:
    body = message.pack()
    content = bytes([version, version ^ 0xFF]) + message.payload_type.to_bytes(2, "big") + len(body).to_bytes(4, "big")
    (found,) = read(content + body)
    assert (found.kind, bytes(found.data), found.is_whole) == (message.payload_type, body, True)


def test_the_payload_types_are_those_of_both_libraries() -> None:
    assert set(Kind) == set(DoIP.payload_types)
    assert set(payload_type_to_message) <= set(Kind)


def test_the_codes_are_those_of_scapy_that_are_not_reserved() -> None:
    fields = {name: field.i2s for each in DoIP.fields_desc if (name := (field := getattr(each, "fld", each)).name)
              in ("nack", "nack_code", "routing_activation_response")}  # fmt: skip
    for ours, name in (
        (codes.HEADER_REFUSED, "nack"),
        (codes.MESSAGE_REFUSED, "nack_code"),
        (codes.ACTIVATION, "routing_activation_response"),
    ):
        assert set(ours) == {code for code, text in fields[name].items() if "Reserved" not in text}, name


def test_the_codes_are_those_of_doipclient() -> None:
    assert set(codes.MESSAGE_REFUSED) == set(map(int, theirs.DiagnosticMessageNegativeAcknowledgement.NackCodes))
    assert set(codes.HEADER_REFUSED) == set(map(int, theirs.GenericDoIPNegativeAcknowledge.NackCodes))
    success = theirs.RoutingActivationResponse.ResponseCode.Success
    pending = theirs.RoutingActivationResponse.ResponseCode.SuccessConfirmationRequired
    assert (success, pending) == (codes.ACTIVATED, codes.CONFIRMATION_REQUIRED)


def bytes_of(path: Path, *, from_tester: bool) -> bytes:
    """What one side said on its connection, by scapy's reading of the packets; these come in order."""
    packets = [packet[TCP] for packet in rdpcap(str(path)) if TCP in packet]
    return b"".join(
        bytes(segment.payload)
        for segment in packets
        if (segment.dport == 13400) == from_tester and not isinstance(segment.payload, Padding)
    )


@pytest.mark.parametrize("path", CAPTURES, ids=lambda path: path.parent.name)
@pytest.mark.parametrize("direction", Direction)
def test_our_messages_of_a_fixture_are_those_that_both_libraries_find(path: Path, direction: Direction) -> None:
    ours = [message.data for message in rebuild(read_capture(path)) if message.direction is direction]
    content = bytes_of(path, from_tester=direction is Direction.REQUEST)
    parser = Parser()
    by_doipclient = []
    message = parser.read_message(content)
    while message is not None:
        if isinstance(message, theirs.DiagnosticMessage):
            by_doipclient.append(bytes(message.user_data))
        message = parser.read_message(b"")
    assert ours == by_doipclient
    by_scapy = []
    while content:
        size = 8 + int.from_bytes(content[4:8], "big")
        layer = DoIP(content[:size])
        if layer.payload_type == 0x8001:
            by_scapy.append(bytes(layer.payload))
        content = content[size:]
    assert ours == by_scapy


def test_a_talk_of_doipclient_over_a_real_socket_is_rebuilt(tmp_path: Path) -> None:
    """doipclient asks, a gateway of a few lines answers on this machine; the bytes of both become a capture."""
    said: list[tuple[bool, bytes]] = []
    listener = socket.create_server(("127.0.0.1", 0))

    def gateway() -> None:
        connection, _ = listener.accept()
        with connection:
            while content := connection.recv(4096):
                said.append((True, content))
                for answer in answers(content):
                    said.append((False, answer))
                    connection.sendall(answer)

    thread = Thread(target=gateway, daemon=True)
    thread.start()
    client = DoIPClient("127.0.0.1", 0x1010, tcp_port=listener.getsockname()[1], client_logical_address=0x0E00)
    client.send_diagnostic(b"\x22\xf1\x90")
    assert client.receive_diagnostic(timeout=5) == b"\x62\xf1\x90VIN"
    client.close()
    thread.join(5)
    listener.close()

    wire = Wire()
    for number, (tester, content) in enumerate(said, start=1):
        wire.tcp(number * 1_000_000, tester, "PA", content)
    path = tmp_path / "capture.pcap"
    path.write_bytes(wire.pcap())
    table = rebuild(read_capture(path))
    assert [(message.link.key, message.data) for message in table] == [
        ("doip:0E00>1010", b"\x22\xf1\x90"), ("doip:0E00>1010", b"\x62\xf1\x90VIN"),
    ]  # fmt: skip
    assert table[0].flow_control_lines and "routing activated" in table.links[0].how


def answers(content: bytes) -> list[bytes]:
    """What a gateway says to the messages of a tester, built by scapy."""
    asked = DoIP(content)
    if asked.payload_type == 0x0005:
        return [bytes(DoIP(
            payload_type=0x0006, logical_address_tester=0x0E00, logical_address_doip_entity=0x1000,
            routing_activation_response=0x10,
        ))]  # fmt: skip
    swapped = {"source_address": 0x1010, "target_address": 0x0E00}
    return [
        bytes(DoIP(payload_type=0x8002, ack_code=0, **swapped)),
        bytes(DoIP(payload_type=0x8001, **swapped) / b"\x62\xf1\x90VIN"),
    ]
