"""IP packets, as far as diagnostics over Ethernet need them: who sends to whom, and what TCP or UDP carries.

Theory of operation: a packet record is peeled down to its IP packet by the link type, and that to one
:class:`Datagram`. Nothing is looked up and nothing is put together here; of a packet that was cut by the
capturing program the bytes that are there are kept, with the length that was on the wire.

Source: RFC 791 (IPv4), RFC 8200 (IPv6), RFC 9293 (TCP), RFC 768 (UDP); IEEE 802.1Q for tags;
tcpdump.org/linktypes for the headers in front.
"""

from __future__ import annotations

import struct
from ipaddress import ip_address
from typing import Final, NamedTuple

TCP: Final = 6
UDP: Final = 17
FIN: Final = 0x01
SYN: Final = 0x02
RST: Final = 0x04

#: Link types whose packets can hold IP: Ethernet, raw IP (as written by different systems), loopback.
ETHERNET: Final = 1
_RAW: Final = frozenset({12, 14, 101, 228, 229})
_LOOPBACK: Final = frozenset({0, 108})
LINK_TYPES: Final = frozenset({ETHERNET}) | _RAW | _LOOPBACK

#: What an Ethernet type says.
IP_TYPES: Final = frozenset({0x0800, 0x86DD})
_TAGS: Final = frozenset({0x8100, 0x88A8, 0x9100})
_MOST_TAGS: Final = 4
#: Headers between IPv6 and what it carries: hop-by-hop, routing, destination options. All of the same form.
_IPV6_OPTIONS: Final = frozenset({0, 43, 60})
_IPV6_FRAGMENT: Final = 44
_MOST_HEADERS: Final = 8


class Datagram(NamedTuple):
    """What one IP packet carries."""

    protocol: int  # TCP or UDP
    source: bytes  # 4 or 16 bytes
    target: bytes
    source_port: int
    target_port: int
    sequence: int  # of the first payload byte; TCP only
    flags: int  # TCP only
    payload: bytes  # as much of it as was recorded
    size: int  # bytes of payload on the wire
    is_fragment: bool  # only the first part of a packet that was sent in pieces
    head: int = 0  # where the header of TCP or UDP begins in the packet
    start: int = 0  # where the payload begins


def address_text(address: bytes) -> str:
    """An IP address as people write it."""
    return str(ip_address(address))


def ip_packet(link_type: int, data: bytes) -> bytes:
    """The IP packet in a record; empty if there is none."""
    if link_type in _RAW:
        return data
    if link_type in _LOOPBACK:
        return data[4:]
    if link_type != ETHERNET:
        return b""
    at = 12
    for _ in range(_MOST_TAGS):
        kind = int.from_bytes(data[at : at + 2], "big")
        if kind in IP_TYPES:
            return data[at + 2 :]
        if kind not in _TAGS:
            break
        at += 4
    return b""


def read_datagram(packet: bytes) -> Datagram | None:
    """The TCP segment or UDP datagram in an IP packet; None if it is neither, or too short to tell."""
    if len(packet) < 1:
        return None
    return {4: _ipv4, 6: _ipv6}.get(packet[0] >> 4, lambda _: None)(packet)


def _ipv4(packet: bytes) -> Datagram | None:
    head = (packet[0] & 0xF) * 4
    if head < 20 or len(packet) < head:
        return None
    total, fragment = struct.unpack_from(">HxxH", packet, 2)
    if fragment & 0x1FFF:
        return None  # a later piece: it has no ports
    # Zero where the sending machine's network card cuts the packet: it is as long as what was recorded.
    end = total or len(packet)
    body = packet[head:end]
    return _carried(packet[9], packet[12:16], packet[16:20], body, end - head, bool(fragment & 0x2000), head)


def _ipv6(packet: bytes) -> Datagram | None:
    if len(packet) < 40:
        return None
    size, following = struct.unpack_from(">HB", packet, 4)
    end = 40 + size if size else len(packet)
    at, is_fragment = 40, False
    for _ in range(_MOST_HEADERS):
        if following in _IPV6_OPTIONS and at + 8 <= len(packet):
            following, at = packet[at], at + 8 + packet[at + 1] * 8
        elif following == _IPV6_FRAGMENT and at + 8 <= len(packet):
            place = int.from_bytes(packet[at + 2 : at + 4], "big")
            if place & 0xFFF8:
                return None
            is_fragment = bool(place & 1)
            following, at = packet[at], at + 8
        else:
            break
    return _carried(following, packet[8:24], packet[24:40], packet[at:end], end - at, is_fragment, at)


def _carried(
    protocol: int, source: bytes, target: bytes, body: bytes, size: int, is_fragment: bool, at: int
) -> Datagram | None:  # fmt: skip
    if protocol == UDP and len(body) >= 8:
        head, sequence, flags = 8, 0, 0
    elif protocol == TCP and len(body) >= 20:
        sequence = int.from_bytes(body[4:8], "big")
        head, flags = (body[12] >> 4) * 4, body[13]
        if not 20 <= head <= size:
            return None
    else:
        return None
    ports = struct.unpack_from(">HH", body)
    return Datagram(
        protocol, source, target, ports[0], ports[1], sequence, flags, body[head:], size - head, is_fragment,
        at, at + head,
    )  # fmt: skip
