"""TCP put in order: the bytes of one direction of a connection, each once, with the packets they came from.

Theory of operation: a segment that continues the stream is passed on; one from further ahead waits; what was
seen before is dropped. Where bytes never come a *hole* is passed on in their place: its size is known from
the sequence numbers, so what stands behind it still falls into its right place. A hole is only believed when
much has been waiting behind it, or nothing more can come.

Source: RFC 9293, 3.4 (sequence numbers count modulo 2**32) and 3.10.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

from canlog.capture.ip import FIN, SYN, Datagram

#: So many segments, or bytes, may wait for an earlier one. More than any window a vehicle side offers.
MOST_WAITING: Final = 1024
MOST_WAITING_BYTES: Final = 8 * 1024**2
#: A sequence number further away than this belongs to another connection between the same ports.
_LARGEST_STEP: Final = 64 * 1024**2
_TURN: Final = 1 << 32


class Place(NamedTuple):
    """The packet that bytes came from."""

    line: int
    time_ns: int
    position: int


class Piece(NamedTuple):
    """The next bytes of a stream, or how many of them are lost."""

    data: bytes
    lost: int
    place: Place


class _Segment(NamedTuple):
    sequence: int
    data: bytes
    size: int  # more than the bytes where the packet was cut
    place: Place


class TcpStream:
    """One direction of a connection."""

    def __init__(self) -> None:
        self.n_repeated = 0  # segments that brought nothing new
        self.first_repeat: Place | None = None
        self._first: int | None = None
        self._next: int | None = None
        self._waiting: dict[int, _Segment] = {}
        self._n_waiting_bytes = 0
        self._end: int | None = None

    @property
    def is_closed(self) -> bool:
        """Its sender has said all (FIN), and all of it was passed on."""
        return self._end is not None and self._next is not None and _ahead(self._end, self._next) <= 0

    def is_other(self, datagram: Datagram) -> bool:
        """The segment belongs to a later connection between the same ports."""
        if self._next is None:
            return False
        if datagram.flags & SYN:
            return (datagram.sequence + 1) % _TURN != self._first
        return abs(_ahead(datagram.sequence, self._next)) > _LARGEST_STEP

    def feed(self, datagram: Datagram, place: Place) -> Iterator[Piece]:
        """The pieces that a segment brings, in order."""
        sequence = datagram.sequence
        if datagram.flags & SYN:
            sequence = (sequence + 1) % _TURN
        if self._next is None:
            self._first = self._next = sequence
        if datagram.flags & FIN:
            self._end = (sequence + datagram.size) % _TURN
        if not datagram.size:
            return
        step = _ahead(sequence, self._next)
        if step + datagram.size <= 0:
            self._note_repeat(datagram, place)
            return
        self._wait(_Segment(sequence, datagram.payload, datagram.size, place))
        yield from self._in_order()
        while len(self._waiting) > MOST_WAITING or self._n_waiting_bytes > MOST_WAITING_BYTES:
            yield from self._over_hole()

    def flush(self) -> Iterator[Piece]:
        """What still waits, with the holes in front of it: nothing more will come."""
        while self._waiting:
            yield from self._over_hole()

    def _note_repeat(self, datagram: Datagram, place: Place) -> None:
        if datagram.size > 1:  # one byte, or none, keeps a connection alive
            self.n_repeated += 1
            self.first_repeat = self.first_repeat or place

    def _wait(self, segment: _Segment) -> None:
        known = self._waiting.get(segment.sequence)
        if known is None or known.size < segment.size:
            self._waiting[segment.sequence] = segment
            self._n_waiting_bytes += segment.size - (known.size if known is not None else 0)

    def _in_order(self) -> Iterator[Piece]:
        """All that now continues the stream."""
        while self._waiting and self._next is not None:
            segment = self._waiting.get(self._next) or self._nearest()
            if _ahead(segment.sequence, self._next) > 0:
                return
            yield from self._pass(segment)

    def _over_hole(self) -> Iterator[Piece]:
        if self._next is None:
            return
        segment = self._nearest()
        yield Piece(b"", _ahead(segment.sequence, self._next), segment.place)
        self._next = segment.sequence
        yield from self._in_order()

    def _nearest(self) -> _Segment:
        start = self._next or 0
        return min(self._waiting.values(), key=lambda segment: _ahead(segment.sequence, start))

    def _pass(self, segment: _Segment) -> Iterator[Piece]:
        del self._waiting[segment.sequence]
        self._n_waiting_bytes -= segment.size
        known = -_ahead(segment.sequence, self._next or 0)
        if segment.size <= known:
            return
        self._next = (segment.sequence + segment.size) % _TURN
        data = segment.data[known:]
        if data:
            yield Piece(data, 0, segment.place)
        if lost := segment.size - max(known, len(segment.data)):
            yield Piece(b"", lost, segment.place)  # the capturing program cut the packet


def _ahead(sequence: int, other: int) -> int:
    """How far a sequence number is ahead of another; negative behind it."""
    return (sequence - other + _TURN // 2) % _TURN - _TURN // 2
