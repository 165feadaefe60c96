"""A message while it is being collected: every consecutive frame has a place.

The sequence number counts modulo 16 only. A frame goes to the place nearest to the expected one that
its number allows; places jumped over are holes, which a late frame may still fill. So one lost frame
costs its own bytes and no others, and a loss of sixteen in a row shows only when the message does not
reach its length.
"""

from __future__ import annotations

from typing import NamedTuple

from canlog.isotp.addressing import Direction, Link
from canlog.isotp.messages import Anomaly, Message, Missing
from canlog.isotp.pci import ConsecutiveFrame, FirstFrame


class Seen(NamedTuple):
    """One frame of a link, as the state machine needs it."""

    time_ns: int
    line: int
    position: int  # byte position of the line
    data: bytes


class Placement(NamedTuple):
    """Where a consecutive frame went: ``anomaly`` is the rule it broke, ``text`` says how."""

    anomaly: str = ""
    text: str = ""
    is_kept: bool = True


_AS_EXPECTED = Placement()


class Transfer:
    """One message under collection."""

    __slots__ = (
        "anomalies", "begin_ns", "block_left", "block_size", "data", "direction", "distrusted", "end_ns",
        "first_bytes", "first_line", "flow_lines", "flow_ns", "frame_bytes", "holes", "last_line", "length",
        "link", "longest_gap_ns", "n_frames", "n_since_unreleased", "next_place", "piece_bytes", "places",
        "position", "separation_ns", "too_short", "unreleased",
    )  # fmt: skip

    def __init__(self, link: Link, direction: Direction, frame: Seen) -> None:
        self.link = link
        self.direction = direction
        self.begin_ns = self.end_ns = frame.time_ns
        self.first_line = self.last_line = frame.line
        self.position = frame.position
        self.n_frames = 1
        self.data = bytearray()
        self.length = -1  # unknown
        self.first_bytes = 0  # payload bytes of the first frame
        self.piece_bytes = 0  # payload bytes of a full consecutive frame
        self.frame_bytes = 0  # RX_DL
        self.places = 0  # consecutive frames the length needs
        self.next_place = 0
        self.holes: list[Missing] = []
        self.too_short = False  # a frame did not fill its place
        self.anomalies: list[Anomaly] = []
        self.flow_lines: list[int] = []
        self.flow_ns = frame.time_ns  # of the last flow control, else of the first frame
        self.block_size = -1  # of the first "continue"; -1 while unknown
        self.block_left = -1  # frames until the block is full; negative when it never is
        self.longest_gap_ns = 0
        self.separation_ns: int | None = None
        self.unreleased: Seen | None = None  # the first frame that came without the flow control due
        self.n_since_unreleased = 0
        self.distrusted = False  # the last flow control had a reserved status

    def open(self, first: FirstFrame, address_bytes: int) -> None:
        """Take the first frame's announcement."""
        self.length = first.length
        self.frame_bytes = first.frame_bytes
        self.data += first.data
        self.first_bytes = len(first.data)
        self.piece_bytes = first.frame_bytes - 1 - address_bytes
        self.places = -(-(first.length - self.first_bytes) // self.piece_bytes)

    @property
    def active_ns(self) -> int:
        """Time of the last frame that moved this message, data or flow control."""
        return max(self.end_ns, self.flow_ns)

    @property
    def is_whole(self) -> bool:
        """Every byte announced is there."""
        return len(self.data) == self.length and not self.holes

    @property
    def is_at_end(self) -> bool:
        """The last place was filled (earlier ones may be holes)."""
        return self.next_place >= self.places

    def add(self, rule: str, frame: Seen, text: str) -> None:
        """Keep a broken rule."""
        self.anomalies.append(Anomaly(rule, frame.line, frame.time_ns, text))

    def touch(self, frame: Seen) -> None:
        """Count a data frame of this message."""
        self.n_frames += 1
        self.end_ns = frame.time_ns
        self.last_line = frame.line

    def place(self, piece: ConsecutiveFrame) -> Placement:
        """Put a piece where its number says; see the module's docstring."""
        expected = (self.next_place + 1) & 0x0F
        ahead = (piece.sequence_number - expected) & 0x0F
        if ahead == 0 and self.next_place < self.places:
            self._put(self.next_place, piece.data)
            return _AS_EXPECTED
        behind = 16 - ahead
        back, forth = self.next_place - behind, self.next_place + ahead
        if back >= 0 and (behind < ahead or forth >= self.places):
            return self._put_back(back, piece)
        numbers = f"sequence number {piece.sequence_number:X} where {expected:X} was due"
        if forth >= self.places:
            return Placement("wrong-sequence-number", f"{numbers}: no place of the message fits", is_kept=False)
        self._put(forth, piece.data)
        return Placement("wrong-sequence-number", f"{numbers}: {ahead} consecutive frame(s) missing")

    def places_ahead(self) -> int:
        """How many full frames may come before one that ends a block or the message; 0 where a frame was short."""
        if len(self.data) != self.first_bytes + self.next_place * self.piece_bytes:
            return 0
        ahead = self.places - 1 - self.next_place
        return min(ahead, self.block_left - 1) if self.block_left > 0 else ahead

    def extend(self, data: bytes, n_frames: int, last: Seen, longest_gap_ns: int) -> None:
        """Take a run of full consecutive frames, each the one expected, of no more than :meth:`places_ahead`."""
        self.data += data
        self.next_place += n_frames
        self.n_frames += n_frames
        self.n_since_unreleased += n_frames
        if self.block_left > 0:
            self.block_left -= n_frames
        self.distrusted = False
        self.end_ns, self.last_line = last.time_ns, last.line
        self.longest_gap_ns = max(self.longest_gap_ns, longest_gap_ns)

    def _put(self, place: int, data: bytes) -> None:
        start = self.first_bytes + place * self.piece_bytes
        wanted = min(self.piece_bytes, self.length - start)
        if start > len(self.data):
            self.holes.append(Missing(len(self.data), start))
            self.data += bytes(start - len(self.data))
        self.data += data[:wanted]
        self.too_short = self.too_short or len(data) < wanted
        self.next_place = place + 1

    def _put_back(self, place: int, piece: ConsecutiveFrame) -> Placement:
        start = self.first_bytes + place * self.piece_bytes
        end = min(start + self.piece_bytes, self.length)
        data = piece.data[: end - start]
        for index, hole in enumerate(self.holes):
            if hole.start <= start and end <= hole.end and len(data) == end - start:
                self.data[start:end] = data
                rest = (Missing(hole.start, start), Missing(end, hole.end))
                self.holes[index : index + 1] = [part for part in rest if part.start < part.end]
                return Placement("consecutive-frame-out-of-order", f"bytes {start} to {end - 1} came behind later ones")
        number = f"sequence number {piece.sequence_number:X} again"
        if self.data[start:end] == data:
            return Placement("repeated-consecutive-frame", f"{number}, with the same data", is_kept=False)
        return Placement(
            "contradicting-consecutive-frame", f"{number}, with other data; the first is kept", is_kept=False
        )

    def append_headless(self, piece: ConsecutiveFrame) -> Placement:
        """Append a piece of a message whose begin is unknown: its place is where it came."""
        due = self.next_place & 0x0F
        self.data += piece.data
        self.next_place = piece.sequence_number + 1
        if self.n_frames == 1 or piece.sequence_number == due:
            return _AS_EXPECTED
        return Placement(
            "wrong-sequence-number",
            f"sequence number {piece.sequence_number:X} where {due:X} was due: bytes are missing",
        )

    def missing(self) -> tuple[Missing, ...]:
        """The holes, and what the end lacks."""
        tail = [Missing(len(self.data), self.length)] if len(self.data) < self.length else []
        return (*self.holes, *tail)

    def message(self, reason: str) -> Message:
        """What was collected; complete when ``reason`` is empty."""
        if self.unreleased is not None:
            self.add("flow-control-not-seen", self.unreleased, "no flow control before this consecutive frame")
        return Message(
            link=self.link,
            direction=self.direction,
            begin_ns=self.begin_ns,
            end_ns=self.end_ns,
            first_line=self.first_line,
            last_line=self.last_line,
            position=self.position,
            n_frames=self.n_frames,
            complete=not reason,
            reason=reason,
            length=self.length if self.length >= 0 else len(self.data),
            data=bytes(self.data),
            missing=self.missing(),
            anomalies=tuple(self.anomalies),
            flow_control_lines=tuple(self.flow_lines),
            longest_gap_ns=self.longest_gap_ns,
            separation_ns=self.separation_ns,
            block_size=self.block_size if self.block_size >= 0 else None,
        )
