"""Diagnostics over Ethernet are copied: secrets in messages, copies, announcements; checksums; and nothing else stays.

Checksums are judged by scapy 2.8.0, which works them out from the whole packet (RFC 1071).
"""

from __future__ import annotations

from pathlib import Path

import pytest
from scapy.compat import raw
from scapy.contrib.automotive.doip import DoIP
from scapy.layers.inet import IP, TCP, UDP, in4_chksum
from scapy.layers.l2 import Ether
from scapy.packet import Packet, Raw
from scapy.utils import PcapNgWriter, PcapWriter, rdpcap
from simulator.ethernet import TESTER, Wire

from analysis import analyse
from analysis.redact.redact import redact
from canlog.doip.reassembly import DoipReassembler
from canlog.names.vin import check_vin
from canlog.read import read_capture, rebuild

FIXTURES = Path(__file__).parents[3] / "fixtures"
VIN = b"E0VLK3P06SM018931"
MODULE = 0x1010
MS = 1_000_000
BLOCK = bytes([0x36, 0x01]) + bytes(at * 37 % 251 for at in range(4000))
KEY = bytes.fromhex("2702 8F13 C7A9 5E21 D402 77B6".replace(" ", ""))


def diagnostic(data: bytes, *, request: bool) -> Packet:
    source, target = (TESTER, MODULE) if request else (MODULE, TESTER)
    return DoIP(payload_type=0x8001, source_address=source, target_address=target) / data


def acknowledge(quoted: bytes) -> Packet:
    return DoIP(
        payload_type=0x8002, ack_code=0, source_address=MODULE, target_address=TESTER, previous_msg=quoted
    )  # fmt: skip


class Session(Wire):
    """A short session with a clock of its own."""

    def __init__(self) -> None:
        super().__init__()
        self.now = 1_700_000_000 * 10**9
        for tester, flags in ((True, "S"), (False, "SA"), (True, "A")):
            self.now += MS
            self.tcp(self.now, tester, flags)

    def say(self, tester: bool, message: Packet) -> None:
        self.now += 10 * MS
        self.message(self.now, tester, message)

    def talk(self) -> None:
        for request, answer in (
            (b"\x22\xf1\x90", b"\x62\xf1\x90" + VIN),
            (KEY, b"\x67\x02"),
            (b"\x34\x00\x44\x00\x01\x00\x00\x00\x00\x0f\xa0", b"\x74\x20\x0f\xff"),
            (BLOCK, b"\x76\x01"),
            (b"\x37", b"\x77"),
        ):
            self.say(True, diagnostic(request, request=True))
            self.say(False, acknowledge(request[:64]))
            self.say(False, diagnostic(answer, request=False))


def copied(tmp_path: Path, content: bytes, name: str = "one.pcap") -> tuple[Path, Path]:
    original, copy = tmp_path / name, tmp_path / f"copy-{name}"
    original.write_bytes(content)
    copy.write_bytes(redact(original).capture)
    assert len(copy.read_bytes()) == len(content)
    return original, copy


def wrong_checksums(path: Path) -> int:
    """Of a segment with its checksum in place the checksum is 0."""
    packets = [packet for packet in rdpcap(str(path)) if TCP in packet or UDP in packet]
    return sum(
        in4_chksum(packet[IP].proto, packet[IP], raw(packet)[34 : packet[IP].len + 14]) != 0 for packet in packets
    )


def carried(path: Path) -> bytes:
    """All that TCP and UDP carry, by scapy."""
    return b"".join(bytes(packet[Raw].load) if Raw in packet else bytes(packet) for packet in rdpcap(str(path)))


def leaks(path: Path) -> list[bytes]:
    text = path.read_bytes() + carried(path) + b"".join(message.data for message in rebuild(read_capture(path)))
    pieces = [BLOCK[at : at + 8] for at in range(2, len(BLOCK) - 8, 8)]
    return [one for one in (VIN, KEY[2:], *pieces) if one in text]


@pytest.mark.parametrize("name", ["doip-all-good", "doip-module-silent"])
def test_checksums_of_a_copy_are_right_where_those_of_the_original_are(name: str, tmp_path: Path) -> None:
    original = FIXTURES / name / "capture.pcap"
    copy = tmp_path / "copy.pcap"
    copy.write_bytes(redact(original).capture)
    assert wrong_checksums(original) == 0
    assert wrong_checksums(copy) == 0
    assert copy.read_bytes() != original.read_bytes()


def test_a_vehicle_announces_the_vin_that_it_answers_with(tmp_path: Path) -> None:
    wire = Session()
    entity = bytes.fromhex("02000000BEEF")
    wire.udp(wire.now, DoIP(payload_type=4, vin=VIN, logical_address=MODULE, eid=entity, gid=entity))
    wire.talk()
    original, copy = copied(tmp_path, wire.pcap())
    assert leaks(original)
    assert not leaks(copy)
    told = {message.data[3:] for message in rebuild(read_capture(copy)) if message.data[:3] == b"\x62\xf1\x90"}
    (said,) = (packet[DoIP] for packet in rdpcap(str(copy)) if DoIP in packet and packet[DoIP].payload_type == 4)
    assert {said.vin} == told
    assert check_vin(said.vin.decode()).check_digit_right == check_vin(VIN.decode()).check_digit_right
    assert said.eid == said.gid != entity
    assert wrong_checksums(copy) == 0


def test_a_copy_of_a_message_in_its_acknowledgement_is_replaced_alike(tmp_path: Path) -> None:
    wire = Session()
    wire.talk()
    original, copy = copied(tmp_path, wire.pcap())
    assert leaks(original)
    assert not leaks(copy)
    reassembler = DoipReassembler()
    reassembler.feed(read_capture(copy).frames())
    quotes = [(one.message.data, one.quoted_by) for one in reassembler.heard() if one.quoted_by]
    assert len(quotes) == 5
    assert all(said.startswith(bytes(quote.data[5:])) for said, (quote,) in quotes)
    assert wrong_checksums(copy) == 0


def test_a_segment_sent_again_gets_the_same_bytes(tmp_path: Path) -> None:
    wire = Session()
    wire.talk()
    sent = max(range(len(wire.packets)), key=lambda at: len(wire.packets[at][1]))
    wire.packets.insert(sent + 1, wire.packets[sent])
    original, copy = copied(tmp_path, wire.pcap())
    assert not leaks(copy)
    first, again = rdpcap(str(copy))[sent : sent + 2]
    assert bytes(first) == bytes(again) != bytes(rdpcap(str(original))[sent])
    found = [[one["id"] for one in analyse(path).to_dict()["findings"]] for path in (original, copy)]
    assert found[0] == found[1]


@pytest.mark.parametrize("dropped", range(3, 20))
def test_bytes_behind_a_hole_are_replaced(dropped: int, tmp_path: Path) -> None:
    wire = Session()
    wire.talk()
    del wire.packets[dropped]
    original, copy = copied(tmp_path, wire.pcap())
    assert not leaks(copy)
    one, other = (rebuild(read_capture(path)) for path in (original, copy))
    assert [(each.lines, each.reason, each.missing) for each in one] == [
        (each.lines, each.reason, each.missing) for each in other
    ]
    assert [each.rule for each in one.strays] == [each.rule for each in other.strays]


def test_other_traffic_and_addresses_of_network_parts_do_not_stay(tmp_path: Path) -> None:
    wire = Session()
    wire.talk()
    page, private = tmp_path / "page.pcap", b"shop=Corner Garage"
    page.write_bytes(wire.pcap())
    with PcapWriter(str(page), append=True, sync=True) as out:
        out.write(Ether(src="02:00:00:11:22:33") / IP() / TCP(sport=80, dport=4711) / private)
    original, copy = copied(tmp_path, page.read_bytes())
    assert private in original.read_bytes()
    assert private not in copy.read_bytes()
    assert bytes.fromhex("020000112233") not in copy.read_bytes()
    assert len(rdpcap(str(copy))) == len(rdpcap(str(original)))
    old, new = ({packet[Ether].src for packet in rdpcap(str(path))} for path in (original, copy))
    assert len(old) == len(new)
    assert not old & new
    assert analyse(copy).to_dict()["captures"][0]["frames"] == analyse(original).to_dict()["captures"][0]["frames"]


def block(kind: int, body: bytes) -> bytes:
    size = (12 + len(body)).to_bytes(4, "little")
    return kind.to_bytes(4, "little") + size + body + size


def test_names_of_hosts_and_keys_beside_the_packets_of_pcapng_do_not_stay(tmp_path: Path) -> None:
    """Block types 4 (names of addresses) and A (keys), draft-ietf-opsawg-pcapng."""
    wire = Session()
    wire.talk()
    plain, ng = tmp_path / "plain.pcap", tmp_path / "form.pcapng"
    plain.write_bytes(wire.pcap())
    with PcapNgWriter(str(ng)) as out:
        for packet in rdpcap(str(plain)):
            out.write(packet)
    secrets = (b"laptop-of-the-shop-1", b"CLIENT_RANDOM 42 777")
    content = ng.read_bytes() + block(4, secrets[0]) + block(10, secrets[1])
    original, copy = copied(tmp_path, content, "two.pcapng")
    assert leaks(original)
    assert not leaks(copy)
    assert not any(one in copy.read_bytes() for one in secrets)
    assert analyse(copy).to_dict()["captures"][0]["frames"] == analyse(original).to_dict()["captures"][0]["frames"]


@pytest.mark.parametrize("end", [-1, -20, -700, -1500])
def test_a_record_that_was_cut_keeps_no_bytes(end: int, tmp_path: Path) -> None:
    wire = Session()
    wire.talk()
    longest = max(range(len(wire.packets)), key=lambda at: len(wire.packets[at][1]))
    wire.packets = wire.packets[: longest + 1]
    _, copy = copied(tmp_path, wire.pcap()[:end])
    text = copy.read_bytes()
    assert not [BLOCK[at : at + 8] for at in range(2, len(BLOCK) - 8, 8) if BLOCK[at : at + 8] in text]
