"""Messages cut out of the columns of a strand: one gather for the bytes of all of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from canlog.frames import FrameTable, Ints
from canlog.isotp.chains import Longs, Singles
from canlog.isotp.messages import Message
from canlog.isotp.reassembly import Side
from canlog.isotp.shapes import CONSECUTIVE, FLOW
from canlog.isotp.strand import Strand


def cut_singles(table: FrameTable, strand: Strand, sides: Sequence[Side], singles: Singles) -> Iterator[Message]:
    """The messages of one frame, in the order given."""
    row = strand.row[singles.frame]
    data, ends = _gather(strand, strand.offset[singles.frame] + singles.start, singles.length)
    end = 0
    for code, time_ns, line, position, stop in zip(
        strand.side[singles.frame].tolist(), table.time_ns[row].tolist(), table.line[row].tolist(),
        table.position[row].tolist(), ends.tolist(), strict=True,
    ):  # fmt: skip
        begin, end = end, stop
        side = sides[code]
        yield Message(
            side.link, side.direction, time_ns, time_ns, line, line, position, 1, True, "", end - begin, data[begin:end]
        )


def cut_longs(table: FrameTable, strand: Strand, sides: Sequence[Side], longs: Longs) -> Iterator[Message]:
    """The whole messages of several frames, in the order given."""
    if not len(longs.first):
        return
    first, last = strand.row[longs.first], strand.row[longs.last]
    data, ends = _pieces(strand, longs)
    flow_lines = table.line[strand.row[_flows(strand, longs)]].tolist()
    end = flow_end = 0
    for (
        code, begin_ns, end_ns, first_line, last_line, position, n_frames, stop, n_flows, gap_ns, separation_ns, block
    ) in zip(
        strand.side[longs.first].tolist(), table.time_ns[first].tolist(), table.time_ns[last].tolist(),
        table.line[first].tolist(), table.line[last].tolist(), table.position[first].tolist(), longs.n_frames.tolist(),
        ends.tolist(), longs.n_flows.tolist(), longs.longest_gap_ns.tolist(), longs.separation_ns.tolist(),
        longs.block_size.tolist(), strict=True,
    ):  # fmt: skip
        begin, end = end, stop
        flow_begin, flow_end = flow_end, flow_end + n_flows
        side = sides[code]
        yield Message(
            side.link, side.direction, begin_ns, end_ns, first_line, last_line, position, n_frames, True, "",
            end - begin, data[begin:end], (), (), tuple(flow_lines[flow_begin:flow_end]), gap_ns, separation_ns, block,
        )  # fmt: skip


def _members(longs: Longs) -> Ints:
    """The frames of all messages, in order."""
    sizes = longs.last - longs.first + 1
    ends = np.cumsum(sizes)
    members: Ints = np.repeat(longs.first - ends + sizes, sizes) + np.arange(ends[-1])
    return members


def _flows(strand: Strand, longs: Longs) -> Ints:
    members = _members(longs)
    return np.compress(strand.shape[members] == FLOW, members)


def _pieces(strand: Strand, longs: Longs) -> tuple[bytes, Ints]:
    """The payload of all messages, and where each ends."""
    start = strand.address_bytes + 1
    size = np.where(strand.shape == CONSECUTIVE, strand.length - start, 0)
    start[longs.first] = longs.start
    size[longs.first] = strand.length[longs.first] - longs.start
    size[longs.last] = longs.rest
    members = _members(longs)
    data, _ = _gather(strand, (strand.offset + start)[members], size[members])
    return data, np.cumsum(longs.length)


def _gather(strand: Strand, start: Ints, size: Ints) -> tuple[bytes, Ints]:
    """Pieces of the payload one after the other, and where each ends."""
    ends = np.cumsum(size)
    where = np.repeat(start - ends + size, size)
    where += np.arange(len(where))
    return strand.payload[where].tobytes(), ends
