"""IP packets out of packet records, whatever they are wrapped in (RFC 791, 8200, 9293; IEEE 802.1Q; tcpdump.org)."""

from __future__ import annotations

import struct

import pytest
from scapy.layers.inet import IP, TCP, UDP
from scapy.layers.inet6 import IPv6, IPv6ExtHdrDestOpt, IPv6ExtHdrFragment, IPv6ExtHdrHopByHop
from scapy.layers.l2 import Dot1AD, Dot1Q, Ether
from scapy.packet import Packet, Raw

from canlog.capture.ip import ETHERNET, Datagram, address_text, ip_packet, read_datagram

SEGMENT = TCP(sport=49152, dport=13400, seq=77, flags="PA", options=[("NOP", None)] * 4) / Raw(b"data")
PLAIN = IP(src="192.0.2.1", dst="192.0.2.2") / SEGMENT


def datagram(packet: Packet | bytes) -> Datagram:
    found = read_datagram(bytes(packet))
    assert found is not None
    return found


def test_a_segment_is_read_with_addresses_ports_sequence_and_flags() -> None:
    found = datagram(PLAIN)
    assert (address_text(found.source), address_text(found.target)) == ("192.0.2.1", "192.0.2.2")
    assert (found.source_port, found.target_port, found.sequence, found.flags) == (49152, 13400, 77, 0x18)
    assert (found.payload, found.size, found.is_fragment) == (b"data", 4, False)


@pytest.mark.parametrize("front", [Ether(), Ether() / Dot1Q(vlan=5), Ether() / Dot1AD(vlan=7) / Dot1Q(vlan=5)])
def test_tags_in_front_do_not_hide_a_packet(front: Packet) -> None:
    assert datagram(ip_packet(ETHERNET, bytes(front / PLAIN))) == datagram(PLAIN)


@pytest.mark.parametrize(("link_type", "front"), [(101, b""), (12, b""), (228, b""), (0, b"\2\0\0\0"), (108, bytes(4))])
def test_raw_and_loopback_packets_are_found(link_type: int, front: bytes) -> None:
    assert datagram(ip_packet(link_type, front + bytes(PLAIN))) == datagram(PLAIN)


def test_fill_bytes_of_a_short_frame_are_no_payload() -> None:
    short = IP() / TCP(sport=1, dport=13400)
    assert datagram(bytes(short) + bytes(6)).payload == b""


@pytest.mark.parametrize("between", [None, IPv6ExtHdrHopByHop(), IPv6ExtHdrHopByHop() / IPv6ExtHdrDestOpt()])
def test_version_6_with_headers_between_is_read(between: Packet | None) -> None:
    front = IPv6(src="fe80::1", dst="fe80::2")
    found = datagram(front / between / SEGMENT if between is not None else front / SEGMENT)
    assert (found.payload, found.size, address_text(found.source)) == (b"data", 4, "fe80::1")


def test_a_first_piece_says_so_and_later_pieces_are_nothing() -> None:
    assert datagram(IP(flags="MF") / SEGMENT).is_fragment
    assert read_datagram(bytes(IP(frag=20) / SEGMENT)) is None
    assert datagram(IPv6() / IPv6ExtHdrFragment(m=1) / SEGMENT).is_fragment
    assert read_datagram(bytes(IPv6() / IPv6ExtHdrFragment(offset=9) / SEGMENT)) is None


def test_a_packet_cut_by_the_capturing_program_keeps_its_true_size() -> None:
    found = datagram(bytes(PLAIN)[:-3])
    assert (found.payload, found.size) == (b"d", 4)


def test_a_length_of_zero_means_as_long_as_what_was_recorded() -> None:
    content = bytearray(bytes(PLAIN))
    struct.pack_into(">H", content, 2, 0)
    assert datagram(bytes(content)).payload == b"data"


def test_udp_is_read() -> None:
    found = datagram(IP() / UDP(sport=13400, dport=13400) / Raw(b"hello"))
    assert (found.source_port, found.payload) == (13400, b"hello")


@pytest.mark.parametrize("cut", range(len(bytes(PLAIN))))
def test_no_cut_packet_raises(cut: int) -> None:
    found = read_datagram(bytes(PLAIN)[:cut])
    assert found is None or found.payload == b"data"[: max(cut - 44, 0)]


def test_every_first_byte_is_read_or_left_alone() -> None:
    for first in range(256):
        content = bytes([first]) + bytes(PLAIN)[1:]
        found = read_datagram(content)
        assert found is None or found.size >= len(found.payload)
