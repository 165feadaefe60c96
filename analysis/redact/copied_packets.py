"""A packet capture with other bytes in its frames and packets, changed in place.

Beside them stands what belongs to no diagnostics: other traffic of the network, packets that could not be read, bytes
behind a frame, blocks of pcapng with names of hosts or keys. All of it is overwritten with zeros; lengths, times and
link headers stay. Addresses of network parts are replaced.

Source: as in ``canlog.capture.pcap``; blocks that are kept: draft-ietf-opsawg-pcapng, 4 (M).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Final, NamedTuple

from analysis.redact.plan import Plan
from analysis.redact.replacements import Replacements
from canlog.capture.ip import ETHERNET, read_datagram
from canlog.capture.pcap import DOIP_PORT, TLS_PORT, PlacedPacket, placed_packets

_FRAME_HEAD: Final = 8  # of a frame: id, length, flags, two reserved bytes (linux/can.h)
_SECTION: Final = b"\x0a\x0d\x0d\x0a"
_INTERFACE, _STATISTICS = 1, 5
#: Options of an interface with its IPv4, IPv6, MAC and EUI addresses (draft-ietf-opsawg-pcapng, 4.2, M).
_OWN_ADDRESSES: Final = frozenset({4, 5, 6, 7})
_PACKETS: Final = {6: 20, 2: 20, 3: 4}  # with the bytes in front of the packet
#: Where a link header holds addresses of network parts (IEEE 802.3; tcpdump.org/linktypes for 113 and 276).
_ADDRESSES_AT: Final = {ETHERNET: (0, 6), 113: (6,), 276: (12,)}
_ADDRESS: Final = 6
_GROUP: Final = 1  # in its first byte: the address of many


def copied_packets(raw: bytes, searched: bytes, plan: Plan, replacements: Replacements) -> bytes:
    """The bytes of the copy.

    Args:
        raw: the original.
        searched: the same without known values in its comments.
        plan: what frames and packets hold.
        replacements: of this run.
    """
    out = bytearray(searched)
    packets, readable = placed_packets(raw)
    out[readable:] = bytes(len(out) - readable)
    known = {packet.position for packet in packets}
    for block in _blocks(raw, readable) if raw.startswith(_SECTION) else ():
        _copy_block(out, raw, block, known)
    rows = {int(position): row for row, position in enumerate(plan.table.position)}
    for packet in packets:
        _copy_link(out, raw, packet, replacements)
        row = rows.get(packet.position)
        start, data = (_kept(raw, packet), b"") if row is None else (packet.inner, plan.data(row))
        if packet.holds == "frame":
            start = min(packet.inner + _FRAME_HEAD, packet.end)
            data = data[: packet.end - start]
        out[packet.inner : start] = raw[packet.inner : start]
        out[start : packet.end] = data.ljust(packet.end - start, b"\0")
    return bytes(out)


def _kept(raw: bytes, packet: PlacedPacket) -> int:
    """Up to where a packet that is not in the table stays: its headers, where those say that it is diagnostics."""
    content = raw[packet.inner : packet.end]
    datagram = read_datagram(content) if packet.holds == "ip" else None
    is_diagnostic = datagram is not None and {datagram.source_port, datagram.target_port} & {DOIP_PORT, TLS_PORT}
    return packet.inner + (datagram.start if datagram is not None and is_diagnostic else 0)


def _copy_link(out: bytearray, raw: bytes, packet: PlacedPacket, replacements: Replacements) -> None:
    out[packet.start : packet.inner] = raw[packet.start : packet.inner]
    for at in _ADDRESSES_AT.get(packet.link_type, ()):
        start = packet.start + at
        address = raw[start : start + _ADDRESS]
        if start + _ADDRESS <= packet.inner and not address[0] & _GROUP:
            out[start : start + _ADDRESS] = replacements.network_part(address)


class _Block(NamedTuple):
    kind: int
    start: int
    end: int
    order: str  # of its bytes


def _blocks(raw: bytes, readable: int) -> Iterator[_Block]:
    order, at = "<", 0
    while at + 12 <= readable:
        if raw[at : at + 4] == _SECTION:
            order = ">" if raw[at + 8 : at + 12] == b"\x1a\x2b\x3c\x4d" else "<"
        kind, size = struct.unpack_from(order + "II", raw, at)
        if size < 12 or at + size > readable:
            return
        yield _Block(kind, at, at + size, order)
        at += size


def _copy_options(out: bytearray, at: int, end: int, order: str) -> None:
    """Addresses of the machine that recorded are overwritten."""
    while at + 4 <= end:
        kind, size = struct.unpack_from(order + "HH", out, at)
        at += 4
        if kind in _OWN_ADDRESSES:
            out[at : min(at + size, end)] = bytes(max(min(at + size, end) - at, 0))
        at += size + -size % 4


def _copy_block(out: bytearray, raw: bytes, block: _Block, known: set[int]) -> None:
    """What stays of a block: the header of a packet, the options of sections and interfaces; no other content."""
    if block.kind == _INTERFACE:
        _copy_options(out, block.start + 16, block.end - 4, block.order)
    if raw[block.start : block.start + 4] == _SECTION or block.kind in (_INTERFACE, _STATISTICS):
        return
    body, end = block.start + 8, block.end - 4
    kept = min(body + _PACKETS.get(block.kind, 0), end)
    out[body:kept] = raw[body:kept]
    if body not in known:
        out[kept:end] = bytes(end - kept)
