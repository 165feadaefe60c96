"""ISO 13400-2 messages cut out of a stream of bytes: a header of 8 bytes, and what it announces.

Theory of operation: a header is the version, the version inverted, the payload type and the length of what
follows. Inside a stream one message begins where the other ends. Behind a hole, or where no header stands
that must, the beginning is lost; it is found again only where a segment begins with a header of a known version
and type, because senders begin a message with a segment and data may look like a header anywhere.

Source: ISO 13400-2:2019, clause 9 (header, payload types; M); values as in scapy 2.8.0 (contrib.automotive.doip)
and doipclient 1.2.2.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Final, NamedTuple

from canlog.doip.pieces import Piece, Place
from canlog.isotp.messages import Anomaly, Missing

HEADER_BYTES: Final = 8
#: Longer messages are taken for a header that is none: no vehicle side has that much memory for one.
MOST_MESSAGE_BYTES: Final = 64 * 1024**2
#: 1: the draft of 2010, 2: 2012, 3: 2019, 4: 2025; FF: vehicle identification of an unknown version (M).
_VERSIONS: Final = frozenset({1, 2, 3, 4, 0xFF})

BYTES_LOST: Final = "bytes-lost"
NO_HEADER: Final = "not-a-doip-header"
ENCRYPTED: Final = "encrypted"
#: The first bytes of a TLS record that begins a handshake. RFC 8446, 5.1.
_TLS: Final = b"\x16\x03"


class Kind(IntEnum):
    """Payload types. ISO 13400-2:2019, table 17 (M)."""

    HEADER_REFUSED = 0x0000
    IDENTIFICATION_REQUEST = 0x0001
    IDENTIFICATION_REQUEST_EID = 0x0002
    IDENTIFICATION_REQUEST_VIN = 0x0003
    ANNOUNCEMENT = 0x0004
    ACTIVATION_REQUEST = 0x0005
    ACTIVATION_RESPONSE = 0x0006
    ALIVE_REQUEST = 0x0007
    ALIVE_RESPONSE = 0x0008
    ENTITY_STATUS_REQUEST = 0x4001
    ENTITY_STATUS_RESPONSE = 0x4002
    POWER_MODE_REQUEST = 0x4003
    POWER_MODE_RESPONSE = 0x4004
    DIAGNOSTIC = 0x8001
    ACKNOWLEDGE = 0x8002
    REFUSED = 0x8003


KINDS: Final = frozenset(Kind)


class Stretch(NamedTuple):
    """Bytes of a message that stand together in one packet."""

    at: int  # the first one in ``data``; negative in the header
    line: int  # of the packet
    from_end: int  # bytes from the first one to the end of what the packet carries
    size: int


@dataclass
class DoipMessage:
    """One message while and after it is put together; ``data`` is what follows the header, holes as zeros."""

    kind: int
    length: int  # of what follows the header
    begin: Place  # the packet recorded first ...
    end: Place  # ... and the one recorded last: packets may overtake each other
    data: bytearray = field(default_factory=bytearray)
    missing: list[Missing] = field(default_factory=list)
    n_segments: int = 1
    longest_gap_ns: int = 0
    reason: str = ""  # why it is not whole
    stretches: list[Stretch] = field(default_factory=list)

    @property
    def is_whole(self) -> bool:
        """Every byte is there."""
        return not self.reason and not self.missing and len(self.data) == self.length


def read_header(head: bytes) -> tuple[int, int] | None:
    """Payload type and length; None where the bytes are no header."""
    if len(head) < HEADER_BYTES or head[0] ^ head[1] != 0xFF:
        return None
    length = int.from_bytes(head[4:8], "big")
    return (int.from_bytes(head[2:4], "big"), length) if length <= MOST_MESSAGE_BYTES else None


class DoipStream:
    """The messages of one direction of a connection; ``strays`` is what belongs to none."""

    def __init__(self) -> None:
        self.strays: list[Anomaly] = []
        self._is_found = False  # the next byte, or the message being read, is known to begin a message
        self._is_first = True
        self._head = bytearray()
        self._head_at: Place | None = None
        self._head_in: list[Stretch] = []
        self._message: DoipMessage | None = None

    def begin(self) -> None:
        """The connection begins here, and so does a message."""
        self._is_found = self._is_first

    def feed(self, piece: Piece) -> Iterator[DoipMessage]:
        """The messages that end with the next bytes, or break in a hole."""
        if piece.lost:
            yield from self._lose(piece)
            return
        if self._is_first and piece.data.startswith(_TLS):
            self._stray(ENCRYPTED, piece.place, "the connection is encrypted (TLS): cannot be read")
        data = memoryview(piece.data)
        if not self._is_found and not self._begins(piece):
            return
        self._is_first = False
        while len(data) and self._is_found:
            if self._message is None:
                data = self._read_head(data, piece.place)
            else:
                data = self._fill(self._message, data, piece.place)
            if self._message is not None and len(self._message.data) == self._message.length:
                yield self._message
                self._message = None

    def finish(self, reason: str) -> Iterator[DoipMessage]:
        """The message that was being read when the stream ended."""
        if self._message is not None:
            self._message.reason = reason
            yield self._message
        self._is_found, self._head, self._message = False, bytearray(), None

    def _begins(self, piece: Piece) -> bool:
        """Whether a segment begins with a message, where the beginning is not known."""
        header = read_header(piece.data[:HEADER_BYTES])
        self._is_found = header is not None and header[0] in KINDS and piece.data[0] in _VERSIONS
        if not self._is_found and self._is_first:
            self._stray(NO_HEADER, piece.place, "the bytes of a connection begin with no message of ISO 13400-2")
        self._is_first = False
        return self._is_found

    def _read_head(self, data: memoryview, place: Place) -> memoryview:
        if not self._head:
            self._head_at, self._head_in = place, []
        missing = HEADER_BYTES - len(self._head)
        self._head_in.append(Stretch(-missing, place.line, len(data), len(data[:missing])))
        self._head += data[:missing]
        if len(self._head) < HEADER_BYTES or self._head_at is None:
            return data[missing:]
        header = read_header(bytes(self._head))
        if header is None:
            self._is_found = False
            self._stray(NO_HEADER, place, f"no message of ISO 13400-2 begins with {self._head.hex(' ')}")
        else:
            begin, end = sorted((self._head_at, place))
            n_segments = 1 if begin == end else 2
            self._message = DoipMessage(*header, begin, end, n_segments=n_segments, stretches=self._head_in)
        self._head = bytearray()
        return data[missing:]

    def _fill(self, message: DoipMessage, data: memoryview, place: Place) -> memoryview:
        missing = message.length - len(message.data)
        message.stretches.append(Stretch(len(message.data), place.line, len(data), len(data[:missing])))
        message.data += data[:missing]
        self._move(message, place)
        return data[missing:]

    def _move(self, message: DoipMessage, place: Place) -> None:
        if place not in (message.begin, message.end):
            message.n_segments += 1
            message.longest_gap_ns = max(message.longest_gap_ns, place.time_ns - message.end.time_ns)
        message.begin = min(message.begin, place)
        message.end = max(message.end, place)

    def _lose(self, piece: Piece) -> Iterator[DoipMessage]:
        """A hole: inside one message it can be counted; beyond its end the next beginning is lost."""
        self._stray(BYTES_LOST, piece.place, f"{piece.lost} bytes of the connection are not in the capture")
        message = self._message
        if message is None:
            self._is_found, self._is_first, self._head = False, False, bytearray()
            return
        start = len(message.data)
        end = min(start + piece.lost, message.length)
        message.missing.append(Missing(start, end))
        message.reason = BYTES_LOST
        if start + piece.lost < message.length:
            message.data += bytes(end - start)
            return
        self._is_found = start + piece.lost == message.length
        self._message = None
        yield message

    def _stray(self, rule: str, place: Place, text: str) -> None:
        self.strays.append(Anomaly(rule, place.line, place.time_ns, text))
