"""Messages cut out of the columns of a strand, as columns: one gather for the bytes of all of them.

A capture may hold a million messages of one frame. So they stay columns that hold nothing of the table they
came from, and a :class:`~canlog.isotp.messages.Message` is made of a row when somebody looks at it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Final

import numpy as np

from canlog.frames import FrameTable, Ints
from canlog.isotp.addressing import Direction, Link
from canlog.isotp.chains import Longs, Singles, only
from canlog.isotp.messages import MadeOnDemand, Message
from canlog.isotp.shapes import FLOW
from canlog.isotp.strand import Codes, Knots, Mask

_LARGEST_FRAME: Final = 64

Owners = Sequence[tuple[Link, Direction]]  # by side


@dataclass(frozen=True, slots=True, eq=False)
class CutSingles(MadeOnDemand):
    """Messages of one frame. Columns have shape (m,), ``edges`` (m + 1,)."""

    owners: Owners
    side: Codes
    time_ns: Ints
    line: Ints
    position: Ints
    edges: Ints  # of each message in ``data``
    data: bytes

    def __len__(self) -> int:
        return len(self.side)

    def make(self, row: int) -> Message:
        """One message."""
        return next(self._made(slice(row, row + 1), self.edges[row : row + 2]))

    def __iter__(self) -> Iterator[Message]:
        return self._made(slice(None), self.edges)

    def _made(self, rows: slice, edges: Ints) -> Iterator[Message]:
        ends = edges.tolist()
        for side, time_ns, line, position, begin, end in zip(
            self.side[rows].tolist(), self.time_ns[rows].tolist(), self.line[rows].tolist(),
            self.position[rows].tolist(), ends, ends[1:], strict=False,
        ):  # fmt: skip
            link, direction = self.owners[side]
            yield Message(
                link, direction, time_ns, time_ns, line, line, position, 1, True, "", end - begin, self.data[begin:end]
            )


@dataclass(frozen=True, slots=True, eq=False)
class CutLongs(MadeOnDemand):
    """Whole messages of several frames. Columns have shape (m,), ``flow_edges`` (m + 1,)."""

    owners: Owners
    side: Codes
    begin_ns: Ints
    end_ns: Ints
    first_line: Ints
    last_line: Ints
    position: Ints
    n_frames: Ints
    longest_gap_ns: Ints
    separation_ns: Ints
    block_size: Ints
    length: Ints
    start: Ints  # of each message in ``data``
    flow_edges: Ints  # of each message in ``flow_lines``
    flow_lines: Ints
    data: bytes

    def __len__(self) -> int:
        return len(self.side)

    def make(self, row: int) -> Message:
        """One message."""
        return next(self._made(slice(row, row + 1), self.flow_edges[row : row + 2]))

    def __iter__(self) -> Iterator[Message]:
        return self._made(slice(None), self.flow_edges)

    def _made(self, rows: slice, flow_edges: Ints) -> Iterator[Message]:
        columns = (
            self.side, self.begin_ns, self.end_ns, self.first_line, self.last_line, self.position, self.n_frames,
            self.longest_gap_ns, self.separation_ns, self.block_size, self.length, self.start,
        )  # fmt: skip
        flow_ends = flow_edges.tolist()
        for (
            side, begin_ns, end_ns, first_line, last_line, position, n_frames, gap_ns, separation_ns, block_size,
            length, start, flow_begin, flow_end,
        ) in zip(*(column[rows].tolist() for column in columns), flow_ends, flow_ends[1:], strict=False):  # fmt: skip
            link, direction = self.owners[side]
            yield Message(
                link, direction, begin_ns, end_ns, first_line, last_line, position, n_frames, True, "", length,
                self.data[start : start + length], (), (), tuple(self.flow_lines[flow_begin:flow_end].tolist()), gap_ns,
                separation_ns, block_size,
            )  # fmt: skip


class Batch(MadeOnDemand):
    """The messages that ended in one table, from several sources, in their common order."""

    def __init__(self, parts: Sequence[Sequence[Message]], order: Ints) -> None:
        self._parts = parts
        self._order = order  # shape (m,): places in the parts, counted through

    def __len__(self) -> int:
        return len(self._order)

    def make(self, row: int) -> Message:
        """One message."""
        place = int(self._order[row])
        for part in self._parts:
            if place < len(part):
                return part[place]
            place -= len(part)
        raise IndexError(row)

    def __iter__(self) -> Iterator[Message]:
        messages = list(chain.from_iterable(self._parts))
        return (messages[place] for place in self._order.tolist())


def cut_singles(table: FrameTable, knots: Knots, singles: Singles, owners: Owners) -> CutSingles:
    """The messages of one frame, in the order given."""
    row = knots.strand.row[knots.frame[singles.knot]]
    edges = _edges(singles.length)
    where = np.repeat(knots.offset[singles.knot] + singles.start - edges[:-1], singles.length)
    where += np.arange(len(where))
    return CutSingles(
        owners=owners,
        side=knots.side[singles.knot],
        time_ns=table.time_ns[row],
        line=table.line[row],
        position=table.position[row],
        edges=edges,
        data=knots.strand.payload[where].tobytes(),
    )


def cut_longs(table: FrameTable, knots: Knots, longs: Longs, owners: Owners) -> CutLongs:
    """The whole messages of several frames, in the order given."""
    strand = knots.strand
    first, last = strand.row[knots.frame[longs.first]], strand.row[knots.last[longs.last]]
    flows = np.flatnonzero(_members(len(knots), longs.first, longs.last) & (knots.shape == FLOW))
    data, start = _pieces(knots, longs)
    return CutLongs(
        owners=owners,
        side=knots.side[longs.first],
        begin_ns=table.time_ns[first],
        end_ns=table.time_ns[last],
        first_line=table.line[first],
        last_line=table.line[last],
        position=table.position[first],
        n_frames=longs.n_frames,
        longest_gap_ns=longs.longest_gap_ns,
        separation_ns=longs.separation_ns,
        block_size=longs.block_size,
        length=longs.length,
        start=start,
        flow_edges=_edges(longs.n_flows),
        flow_lines=table.line[strand.row[knots.frame[flows]]],
        data=data,
    )


def _members(n: int, first: Ints, last: Ints) -> Mask:
    """shape (n,): whether an index lies in one of the ranges, both ends included; they do not overlap."""
    steps = np.zeros(n + 1, dtype=np.int8)
    steps[first] = 1
    steps[last + 1] -= 1
    return np.cumsum(steps[:-1], dtype=np.int8).view(bool)


def _pieces(knots: Knots, longs: Longs) -> tuple[bytes, Ints]:
    """The bytes behind the control byte of all first and consecutive frames, and where each message begins there.

    A message's payload stands in one piece: what is left of the length in front of it and the padding behind
    it lie between the messages. Messages of one frame size are taken at once.
    """
    strand = knots.strand
    padded = np.concatenate((strand.payload, np.zeros(_LARGEST_FRAME, dtype=np.uint8)))  # a last frame may be short
    start = np.zeros(len(longs.first), dtype=np.int64)
    pieces: list[bytes] = []
    n_bytes = 0
    for width, at in set(zip(longs.piece.tolist(), knots.address_bytes[longs.first].tolist(), strict=True)):
        is_this = (longs.piece == width) & (knots.address_bytes[longs.first] == at)
        messages = only(longs, is_this)
        is_member = _members(len(strand), knots.frame[messages.first], knots.last[messages.last])
        is_member[knots.frame[knots.shape == FLOW]] = False
        windows = np.ndarray((len(padded) - width + 1,), dtype=f"V{width}", buffer=padded.data, strides=(1,))
        pieces.append(windows[strand.offset[is_member] + (at + 1)].tobytes())
        start[is_this] = n_bytes + _edges(messages.n_frames)[:-1] * width + messages.start - at - 1
        n_bytes += len(pieces[-1])
    return b"".join(pieces), start


def _edges(sizes: Ints) -> Ints:
    return np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(sizes)))
