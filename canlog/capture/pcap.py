"""Packet captures (pcap and pcapng) of a CAN interface under Linux, or of diagnostics over Ethernet.

Theory of operation: both forms are records of a length and bytes; what is in the bytes is said by the
*link type*: 227 is a SocketCAN frame, 113 and 276 are "cooked" packets of all interfaces, of which those
with a CAN protocol are taken. Of IP packets, however wrapped, those of ISO 13400-2 (port 13400) are kept
whole as rows with :attr:`FrameFlag.PACKET`; what they say is for :mod:`canlog.doip`. Other traffic is counted
and left alone. A record whose length cannot be is damage, and after it nothing can be found again in pcap; in
pcapng too, because blocks have no mark.

Each vehicle side (IP address at port 13400) is a channel of its own, because logical addresses are unique
only behind one of them: ``doip``, then ``doip2`` and so on.

Times are absolute, in the unit that the file names. Direction is in cooked packets and in the flags of
pcapng. An interface is named by the file, by its number, or not at all.

Source: draft-ietf-opsawg-pcap and draft-ietf-opsawg-pcapng (block types, options); tcpdump.org/linktypes
for 227, 113 and 276; linux/if_ether.h for the protocols 000C, 000D, 000E; ISO 13400-2:2019 for the ports (M).
"""

from __future__ import annotations

import struct
import sys
from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

from canlog.capture.candump_log import LARGEST_SECONDS
from canlog.capture.ip import ETHERNET, IP_TYPES, LINK_TYPES, TCP, Datagram, address_text, ip_packet, read_datagram
from canlog.capture.lines import peek
from canlog.capture.records import MOST_RECORD_BYTES, ByteStream, RecordReader
from canlog.capture.socketcan import NOTE_ORDER, Refused, byte_order, read_frame
from canlog.frames import DropMarker, FrameFlag, FrameTable, TimeKind

NAME: Final = "pcap"
ABOUT: Final = "packet capture (pcap, pcapng) of a CAN interface under Linux, or of diagnostics over Ethernet (DoIP)"
EXPECTED: Final = "no pcap or pcapng file"
EVIDENCE: Final = "the magic number of pcap (A1B2C3D4, A1B23C4D) or pcapng (0A0D0D0A with 1A2B3C4D)"
CANNOT_TELL: Final = "direction and channel where link type 227 is used without pcapng's options; what TLS encrypts"
SUFFIXES: Final = (".pcap", ".pcapng", ".cap")

#: pcap's magic number as stored: byte order and nanoseconds per count.
_PCAP: Final = {
    b"\xa1\xb2\xc3\xd4": (">", 1000), b"\xd4\xc3\xb2\xa1": ("<", 1000),
    b"\xa1\xb2\x3c\x4d": (">", 1), b"\x4d\x3c\xb2\xa1": ("<", 1),
}  # fmt: skip
_SECTION: Final = b"\x0a\x0d\x0d\x0a"
_SECTION_ORDER: Final = {b"\x1a\x2b\x3c\x4d": ">", b"\x4d\x3c\x2b\x1a": "<"}
_INTERFACE, _OLD_PACKET, _SIMPLE, _STATISTICS, _PACKET = 1, 2, 3, 5, 6
_NAME, _RESOLUTION, _TIME_OFFSET = 2, 9, 14  # options of an interface
_PACKET_FLAGS, _PACKET_DROPS = 2, 4  # options of a packet
_INBOUND, _OUTBOUND = 1, 2
_DROPPED, _OS_DROPPED = 5, 7  # options of statistics

_SOCKETCAN, _COOKED, _COOKED_2 = 227, 113, 276
_IP_LINK_TYPES: Final = LINK_TYPES | {_COOKED, _COOKED_2}
#: Bytes of the header in front of what a packet carries, where there is one.
LINK_HEADS: Final = {ETHERNET: 14, _COOKED: 16, _COOKED_2: 20}
_FROM_US: Final = 4  # packet type of a cooked packet
_PROTOCOLS: Final = {0x000C: False, 0x000D: True}  # is it CAN FD?
_PROTOCOL_XL: Final = 0x000E
_NO_CHANNEL: Final = "bus"

#: ISO 13400-2: messages over TCP and UDP; the same over TLS (M).
DOIP_PORT: Final = 13400
TLS_PORT: Final = 3496
DOIP_CHANNEL: Final = "doip"
_LARGEST_PACKET: Final = 0xFFFF
_NAMED_VEHICLES: Final = 8  # by a note
NO_DIAGNOSTICS: Final = "no CAN frame and no diagnostics over Ethernet (port 13400) is among its packets"
_LARGEST_NS: Final = LARGEST_SECONDS * 1_000_000_000
_ORDER_SAMPLES: Final = 4096


class _Interface(NamedTuple):
    link_type: int
    name: str
    unit: tuple[int, int]  # nanoseconds of a count: number, divided by
    offset_s: int


class _Packet(NamedTuple):
    interface: _Interface
    time_ns: int | None
    data: bytes
    flags: int  # direction
    position: int
    start: int  # of its bytes in the file


class PlacedPacket(NamedTuple):
    """Where a packet stands in its file, for those who change it there."""

    position: int  # as in the tables
    start: int  # of what the capturing program wrote in front: a header of the link, or nothing
    inner: int  # of the CAN frame, of the IP packet, or of whatever else it carries
    end: int
    link_type: int
    holds: str  # "frame", "ip" or nothing


def recognise(head: bytes) -> float:
    """1 with the magic number of either form, else 0."""
    if head[:4] in _PCAP or (head[:4] == _SECTION and head[8:12] in _SECTION_ORDER):
        return 1.0
    return 0.0


def may_hold_diagnostics(head: bytes) -> bool:
    """Whether a packet is of an interface that carries IP."""
    packets = _Pcap("big").packets(ByteStream([head]))
    return any(packet.interface.link_type in _IP_LINK_TYPES for packet in packets)


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of a packet capture, chunk by chunk."""
    head, blocks = peek(blocks, _has_packet)
    reader = _Pcap(_order_of(head))
    return reader.tables(reader.records(ByteStream(blocks)))


def placed_packets(raw: bytes) -> tuple[list[PlacedPacket], int]:
    """Every packet of a file, and where reading ends: at the end of the file, or at damage."""
    reader = _Pcap("big")
    found = [_placed(packet) for packet in reader.packets(ByteStream([raw]))]
    return found, min(reader.readable_bytes, len(raw))


def _placed(packet: _Packet) -> PlacedPacket:
    size, link_type = len(packet.data), packet.interface.link_type
    frame, ip = _unwrap(packet), _ip_of(packet)
    if frame is not None:
        head, holds = size - len(frame[0]), "frame"
    elif ip:
        head, holds = size - len(ip), "ip"
    else:
        head, holds = min(LINK_HEADS.get(link_type, 0), size), ""
    start = packet.start
    return PlacedPacket(packet.position, start, start + head, start + size, link_type, holds)


def _has_packet(head: bytes) -> float:
    return float(any(True for _ in _Pcap("big").packets(ByteStream([head]))))


def _order_of(head: bytes) -> str:
    packets = _Pcap("big").packets(ByteStream([head]))
    frames = (frame[0] for _, packet in zip(range(_ORDER_SAMPLES), packets, strict=False) if (frame := _unwrap(packet)))
    return byte_order(frames)


def _unwrap(packet: _Packet) -> tuple[bytes, int, bool, str] | None:
    """The SocketCAN frame in a packet, its direction, whether it is CAN FD, its channel; None if it is none."""
    link_type, data, name = packet.interface.link_type, packet.data, packet.interface.name
    if link_type == _SOCKETCAN:
        return data, packet.flags, False, name
    if link_type == _COOKED and len(data) >= 16:
        kind, protocol, size = int.from_bytes(data[:2], "big"), int.from_bytes(data[14:16], "big"), 16
    elif link_type == _COOKED_2 and len(data) >= 20:
        kind, protocol, size = data[10], int.from_bytes(data[:2], "big"), 20
        name = name if name != _NO_CHANNEL else f"if{int.from_bytes(data[4:8], 'big')}"
    else:
        return None
    if protocol not in _PROTOCOLS and protocol != _PROTOCOL_XL:
        return None
    direction = FrameFlag.SENT if kind == _FROM_US else FrameFlag.RECEIVED
    return data[size:], int(direction), _PROTOCOLS.get(protocol, False), name


def _ip_of(packet: _Packet) -> bytes:
    """The IP packet in a packet; empty if there is none."""
    link_type, data = packet.interface.link_type, packet.data
    if link_type == _COOKED and int.from_bytes(data[14:16], "big") in IP_TYPES:
        return data[16:]
    if link_type == _COOKED_2 and int.from_bytes(data[:2], "big") in IP_TYPES:
        return data[20:]
    return ip_packet(link_type, data)


class _Pcap(RecordReader):
    def __init__(self, order: str) -> None:
        super().__init__(TimeKind.ABSOLUTE)
        self._order = order
        if order == "little":
            self.note(NOTE_ORDER)
        self._others, self._strange_type = 0, 0
        self._encrypted = 0
        self.readable_bytes = sys.maxsize  # of the file; fewer than it has where damage ends it
        self._last_ns = 0
        self._vehicles: dict[bytes, str] = {}  # channel by IP address

    def records(self, stream: ByteStream) -> Iterator[None]:
        """Every packet of the file, added as a frame or kept as damage."""
        for packet in self.packets(stream):
            self._take(packet)
            yield
        if self._others:
            self.note(f"packets that are neither CAN frames nor diagnostics over Ethernet: {self._others}")
        if self._encrypted:
            self.note(
                f"{self._encrypted} packets are diagnostics over TLS (port {TLS_PORT}): encrypted, cannot be read"
            )
        if self._others and self._others == self.number:
            if self._strange_type:
                self.damaged(f"no CAN frame: all packets are of link type {self._strange_type}", b"")
            else:
                self.note(NO_DIAGNOSTICS)

    def packets(self, stream: ByteStream) -> Iterator[_Packet]:
        """Every packet, counted; stops at damage."""
        return self._pcapng(stream) if stream.peek(4) == _SECTION else self._pcap(stream)

    def _take(self, packet: _Packet) -> None:
        frame = _unwrap(packet)
        if frame is None:
            self._take_ip(packet)
            return
        data, direction, fd, channel = frame
        try:
            content = read_frame(data, self._order, fd=fd)
        except Refused as refusal:
            self.damaged(str(refusal), data)
            return
        time_ns = self._time_of(packet)
        if time_ns is not None:
            flags = content.flags | direction
            self.add(time_ns, channel, content.can_id, flags, content.data, packet.position, content.length)

    def _take_ip(self, packet: _Packet) -> None:
        """Keep a packet of ISO 13400-2 whole; count the others."""
        data = _ip_of(packet)
        datagram = read_datagram(data)
        ports = {datagram.source_port, datagram.target_port} if datagram is not None else set()
        if datagram is None or not ports & {DOIP_PORT, TLS_PORT}:
            self._others += 1
            if packet.interface.link_type not in _IP_LINK_TYPES:
                self._strange_type = packet.interface.link_type
        elif DOIP_PORT not in ports:
            self._encrypted += 1
        elif datagram.is_fragment or len(data) > _LARGEST_PACKET:
            self.damaged("an IP packet that was sent in pieces, or is too long", data)
        elif (time_ns := self._time_of(packet)) is not None:
            flags = FrameFlag.PACKET | packet.flags
            self.add(time_ns, self._channel_of(datagram), datagram.source_port, int(flags), data, packet.position)

    def _time_of(self, packet: _Packet) -> int | None:
        """Its time, or that of the packet before; None, and kept as damage, if it cannot be."""
        time_ns = packet.time_ns
        if time_ns is None:
            self.note("some packets have no time: they got that of the packet before")
            time_ns = self._last_ns
        elif abs(time_ns) > _LARGEST_NS:
            self.damaged("its time is out of range", packet.data)
            return None
        self._last_ns = time_ns
        return time_ns

    def _channel_of(self, datagram: Datagram) -> str:
        """The channel of a vehicle side. Only TCP says who that is: in UDP both ends may use the port."""
        vehicle = datagram.target if datagram.target_port == DOIP_PORT else datagram.source
        if datagram.protocol != TCP:
            known = (self._vehicles.get(address) for address in (datagram.source, datagram.target))
            return next(filter(None, known), DOIP_CHANNEL)
        if vehicle not in self._vehicles:
            number = len(self._vehicles) + 1
            channel = self._vehicles[vehicle] = DOIP_CHANNEL if number == 1 else f"{DOIP_CHANNEL}{number}"
            if 1 < number <= _NAMED_VEHICLES:
                self.note(f"{channel} is the vehicle side at {address_text(vehicle)}")
        return self._vehicles[vehicle]

    def _cut(self, reason: str, data: bytes, readable_bytes: int) -> None:
        self.number += 1
        self.readable_bytes = readable_bytes
        self.damaged(reason, data)
        self.note(f"damaged after record {self.number - 1}: {reason}; what stands behind cannot be read")

    def _pcap(self, stream: ByteStream) -> Iterator[_Packet]:
        header = stream.read(24)
        if len(header) < 24 or header[:4] not in _PCAP:
            self._cut("the file's header is cut or no header", header, stream.position)
            return
        order, unit = _PCAP[header[:4]]
        link_type = struct.unpack_from(order + "I", header, 20)[0] & 0xFFFF
        interface = _Interface(link_type, _NO_CHANNEL, (unit, 1), 0)
        while record := stream.read(16):
            if len(record) < 16:
                self._cut("the file ends inside a record", record, stream.position)
                return
            seconds, fraction, size, _ = struct.unpack(order + "IIII", record)
            if size > MOST_RECORD_BYTES:
                self._cut(f"a record of {size} bytes", record, stream.position)
                return
            position = stream.position
            data = stream.read(size)
            if len(data) < size:
                self._cut("the file ends inside a record", data, position)
                return
            self.number += 1
            yield _Packet(interface, seconds * 1_000_000_000 + fraction * unit, data, 0, position, position)

    def _pcapng(self, stream: ByteStream) -> Iterator[_Packet]:
        order = "<"
        interfaces: list[_Interface] = []
        while start := stream.peek(12):
            if start[:4] == _SECTION and start[8:12] in _SECTION_ORDER:
                order, interfaces = _SECTION_ORDER[start[8:12]], []
            if len(start) < 12:
                self._cut("the file ends inside a block", start, stream.position + 8)
                return
            kind, size = struct.unpack_from(order + "II", start)
            if size < 12 or size % 4 or size > MOST_RECORD_BYTES:
                self._cut(f"a block of {size} bytes", start, stream.position + 8)
                return
            position = stream.position + 8
            block = stream.read(size)
            if len(block) < size:
                self._cut("the file ends inside a block", block, position)
                return
            body = block[8:-4]
            if kind == _INTERFACE and len(body) >= 8:
                interfaces.append(_interface(body, order))
            elif kind in (_PACKET, _OLD_PACKET, _SIMPLE):
                self.number += 1
                packet = self._packet(kind, body, order, interfaces, position)
                if packet is not None:
                    yield packet
            elif kind == _STATISTICS:
                self._statistics(body, order)

    def _packet(
        self, kind: int, body: bytes, order: str, interfaces: list[_Interface], position: int
    ) -> _Packet | None:
        if kind == _SIMPLE:
            if len(body) < 4 or not interfaces:
                self.damaged("a packet of an interface that is not described", body)
                return None
            size = struct.unpack_from(order + "I", body)[0]
            return _Packet(interfaces[0], None, body[4 : 4 + size], 0, position, position + 4)
        if len(body) < 20:
            self.damaged("a packet without its header", body)
            return None
        form = "IIIII" if kind == _PACKET else "HxxIIII"
        number, high, low, size, _ = struct.unpack_from(order + form, body)
        if number >= len(interfaces):
            self.damaged("a packet of an interface that is not described", body)
            return None
        if 20 + size > len(body):
            self.damaged("a packet longer than its block", body)
            return None
        interface = interfaces[number]
        count, per = interface.unit
        time_ns = (high << 32 | low) * count // per + interface.offset_s * 1_000_000_000
        options = _options(body[20 + (size + 3) // 4 * 4 :], order)
        direction = int.from_bytes(options.get(_PACKET_FLAGS, b"")[:4], "little" if order == "<" else "big") & 3
        flags = {_INBOUND: FrameFlag.RECEIVED.value, _OUTBOUND: FrameFlag.SENT.value}.get(direction, 0)
        self._dropped(_number(options.get(_PACKET_DROPS, b""), order))
        return _Packet(interface, time_ns, body[20 : 20 + size], flags, position, position + 20)

    def _statistics(self, body: bytes, order: str) -> None:
        options = _options(body[12:], order)
        self._dropped(sum(_number(options.get(code, b""), order) for code in (_DROPPED, _OS_DROPPED)))

    def _dropped(self, n_packets: int) -> None:
        if n_packets:
            text = f"the capturing program says that it lost {n_packets} packets"
            self.rows.drops.append(DropMarker(max(self.number, 1), min(n_packets, 2**62), text))


def _interface(body: bytes, order: str) -> _Interface:
    options = _options(body[8:], order)
    code = (options.get(_RESOLUTION, b"") or b"\x06")[0]
    exponent = code & 0x7F
    per = 2**exponent if code & 0x80 else 10**exponent
    offset = int.from_bytes(options.get(_TIME_OFFSET, b"")[:8], "little" if order == "<" else "big", signed=True)
    name = options.get(_NAME, b"").rstrip(b"\0").decode("utf-8", "replace")
    return _Interface(struct.unpack_from(order + "H", body)[0], name or _NO_CHANNEL, (1_000_000_000, per), offset)


def _number(data: bytes, order: str) -> int:
    return int.from_bytes(data[:8], "little" if order == "<" else "big")


def _options(data: bytes, order: str) -> dict[int, bytes]:
    """Options behind a block's fixed part, by code; the last of several counts."""
    options: dict[int, bytes] = {}
    at = 0
    while at + 4 <= len(data):
        code, size = struct.unpack_from(order + "HH", data, at)
        if code == 0:
            break
        options[code] = data[at + 4 : at + 4 + size]
        at += 4 + (size + 3) // 4 * 4
    return options
