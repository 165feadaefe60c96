"""Messages cut out of the columns of a strand, as columns: one gather for the bytes of all of them.

A capture may hold a million messages of one frame. So they stay columns that hold nothing of the table they
came from, and a :class:`~canlog.isotp.messages.Message` is made of a row when somebody looks at it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from canlog.frames import FrameTable, Ints
from canlog.isotp.addressing import Direction, Link
from canlog.isotp.chains import Longs, Singles
from canlog.isotp.messages import MadeOnDemand, Message
from canlog.isotp.shapes import CONSECUTIVE, FLOW
from canlog.isotp.strand import Codes, Mask, Strand

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
    """Whole messages of several frames. Columns have shape (m,), edges (m + 1,)."""

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
    edges: Ints  # of each message in ``data``
    flow_edges: Ints  # of each message in ``flow_lines``
    flow_lines: Ints
    data: bytes

    def __len__(self) -> int:
        return len(self.side)

    def make(self, row: int) -> Message:
        """One message."""
        return next(self._made(slice(row, row + 1), self.edges[row : row + 2], self.flow_edges[row : row + 2]))

    def __iter__(self) -> Iterator[Message]:
        return self._made(slice(None), self.edges, self.flow_edges)

    def _made(self, rows: slice, edges: Ints, flow_edges: Ints) -> Iterator[Message]:
        columns = (
            self.side, self.begin_ns, self.end_ns, self.first_line, self.last_line, self.position, self.n_frames,
            self.longest_gap_ns, self.separation_ns, self.block_size,
        )  # fmt: skip
        ends, flow_ends = edges.tolist(), flow_edges.tolist()
        for (
            (side, begin_ns, end_ns, first_line, last_line, position, n_frames, gap_ns, separation_ns, block_size),
            begin, end, flow_begin, flow_end,
        ) in zip(
            zip(*(column[rows].tolist() for column in columns), strict=True),
            ends, ends[1:], flow_ends, flow_ends[1:], strict=False,
        ):  # fmt: skip
            link, direction = self.owners[side]
            yield Message(
                link, direction, begin_ns, end_ns, first_line, last_line, position, n_frames, True, "", end - begin,
                self.data[begin:end], (), (), tuple(self.flow_lines[flow_begin:flow_end].tolist()), gap_ns,
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


def cut_singles(table: FrameTable, strand: Strand, singles: Singles, owners: Owners) -> CutSingles:
    """The messages of one frame, in the order given."""
    row = strand.row[singles.frame]
    return CutSingles(
        owners=owners,
        side=strand.side[singles.frame],
        time_ns=table.time_ns[row],
        line=table.line[row],
        position=table.position[row],
        edges=_edges(singles.length),
        data=_gather(strand, strand.offset[singles.frame] + singles.start, singles.length),
    )


def cut_longs(table: FrameTable, strand: Strand, longs: Longs, owners: Owners) -> CutLongs:
    """The whole messages of several frames, in the order given."""
    first, last = strand.row[longs.first], strand.row[longs.last]
    members = _members(strand, longs)
    is_flow = members & (strand.shape == FLOW)
    return CutLongs(
        owners=owners,
        side=strand.side[longs.first],
        begin_ns=table.time_ns[first],
        end_ns=table.time_ns[last],
        first_line=table.line[first],
        last_line=table.line[last],
        position=table.position[first],
        n_frames=longs.n_frames,
        longest_gap_ns=longs.longest_gap_ns,
        separation_ns=longs.separation_ns,
        block_size=longs.block_size,
        edges=_edges(longs.length),
        flow_edges=_edges(longs.n_flows),
        flow_lines=table.line[strand.row[is_flow]],
        data=_pieces(strand, longs, members),
    )


def _members(strand: Strand, longs: Longs) -> Mask:
    """Which frames belong to the messages; they stand in the order of the messages."""
    steps = np.zeros(len(strand) + 1, dtype=np.int8)
    steps[longs.first] = 1
    steps[longs.last + 1] -= 1
    return np.cumsum(steps[:-1], dtype=np.int8).astype(bool)


def _pieces(strand: Strand, longs: Longs, members: Mask) -> bytes:
    """The payload of all messages: of the first frame, the consecutive frames, and the last without its padding."""
    start = strand.address_bytes + 1
    size = np.where(strand.shape == CONSECUTIVE, strand.length - start, 0)
    start[longs.first] = longs.start
    size[longs.first] = strand.length[longs.first] - longs.start
    size[longs.last] = longs.rest
    return _gather(strand, (strand.offset + start)[members], size[members])


def _gather(strand: Strand, start: Ints, size: Ints) -> bytes:
    """Pieces of the payload one after the other."""
    where = np.repeat(start - np.cumsum(size) + size, size)
    where += np.arange(len(where))
    return strand.payload[where].tobytes()


def _edges(sizes: Ints) -> Ints:
    return np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(sizes)))
