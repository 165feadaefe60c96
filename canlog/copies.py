"""Frames that were recorded twice: two sockets, or the own echo beside the frame sent.

A second copy is a frame equal to the one before it of the same channel and id, sooner than the bus
could carry it again; or the same frame once as sent and once as received. Of a run of equal frames every
second one is a copy. Where nearly every frame stands twice the capture is *doubled* and loses nothing
when the copies are dropped; a single one is only noted.

Source: the time of one frame from ISO 11898-1 (111 bits without stuff bits, 222 µs at 500 kbit/s);
the rest is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from canlog.frames import FrameFlag, FrameTable, Ints, TimeKind

#: Equal frames sooner than this were on the bus once: classic, and CAN FD with its faster data phase.
ONE_FRAME_NS: Final = 220_000
ONE_FD_FRAME_NS: Final = 100_000
#: How long after a frame was sent its echo may be logged as received.
ECHO_NS: Final = 5_000_000
#: Share of frames that stand twice from which a capture is doubled.
DOUBLED_SHARE: Final = 0.9

Mask = npt.NDArray[np.bool_]

_DIRECTION: Final = int(FrameFlag.SENT | FrameFlag.RECEIVED)
_COMPARED: Final = 0xFFFF & ~_DIRECTION


class _Last(NamedTuple):
    """The last frame of a channel and id in the table before."""

    time_ns: int
    flags: int
    length: int
    data: bytes
    is_copy: bool


class CopyFinder:
    """Marks second copies, table after table of one pass."""

    def __init__(self) -> None:
        self._last: dict[int, _Last] = {}

    def feed(self, table: FrameTable) -> Mask:
        """shape (n,): True where a frame is the second copy of an earlier one."""
        copies = np.zeros(len(table), dtype=np.bool_)
        if not len(table) or table.time_kind is TimeKind.NONE or not table.time_ns.any():
            return copies
        keys = frame_keys(table)
        order = np.argsort(keys, kind="stable")
        repeats = _repeats(table, keys, order)
        starts = np.flatnonzero(np.r_[True, np.diff(keys[order]) != 0])
        index = np.arange(len(order))
        run_start = np.where(repeats, 0, index)
        for start in starts.tolist():  # the first of each id may repeat the last one of the table before
            last = self._last.get(int(keys[order[start]]))
            if last is not None and not last.is_copy and _is_repeat(last, table, int(order[start])):
                run_start[start] = start - 1
        place = index - np.maximum.accumulate(run_start)
        copies[order] = place % 2 == 1
        for end in np.r_[starts[1:], len(order)].tolist():
            row = int(order[end - 1])
            self._last[int(keys[row])] = _Last(
                int(table.time_ns[row]),
                int(table.flags[row]),
                int(table.length[row]),
                table.data(row),
                bool(copies[row]),
            )
        return copies


def without_copies(tables: Iterable[FrameTable]) -> Iterator[FrameTable]:
    """The tables of a doubled capture, each frame once."""
    finder = CopyFinder()
    for table in tables:
        once = table.take(~finder.feed(table))
        yield replace(
            once, bad_lines=table.bad_lines, drops=table.drops, lines_read=table.lines_read, notes=table.notes
        )


def frame_keys(table: FrameTable) -> Ints:
    """shape (n,), int64: channel code, kind of id and id as one number. An error frame's id is a kind of its own."""
    kind = (table.flags & int(FrameFlag.EXTENDED | FrameFlag.ERROR)).astype(np.int64)
    return table.channel.astype(np.int64) << 36 | kind << 30 | table.can_id.astype(np.int64)


def first_words(table: FrameTable) -> npt.NDArray[np.uint64]:
    """shape (n,), uint64: the first 8 data bytes of each frame as one number, zeros behind the last."""
    size = np.where(table.flags & FrameFlag.REMOTE, 0, table.length).astype(np.int64)
    column = np.arange(8)
    there = column < size[:, None]
    at = np.where(there, table.offset[:, None] + column, 0)
    if not len(table.payload):
        return np.zeros(len(table), dtype=np.uint64)
    head = np.where(there, table.payload[at], np.uint8(0))
    return np.ascontiguousarray(head).view(np.uint64)[:, 0]


def _repeats(table: FrameTable, keys: Ints, order: Ints) -> Mask:
    """In sorted order: does a frame repeat the one before it of the same id in this table?"""
    words, flags = first_words(table)[order], table.flags[order].astype(np.int64)
    lengths, times = table.length[order], table.time_ns[order]
    step = np.diff(times)
    echo = (flags[1:] | flags[:-1]) & _DIRECTION == _DIRECTION
    echo &= flags[1:] & _DIRECTION != flags[:-1] & _DIRECTION
    limit = np.where(echo, ECHO_NS, np.where(flags[1:] & FrameFlag.FD, ONE_FD_FRAME_NS, ONE_FRAME_NS))
    same = (
        (np.diff(keys[order]) == 0)
        & (words[1:] == words[:-1])
        & (lengths[1:] == lengths[:-1])
        & ((flags[1:] ^ flags[:-1]) & _COMPARED == 0)
        & (flags[1:] & FrameFlag.ERROR == 0)
        & (step >= 0)
        & (step < limit)
    )
    for at in np.flatnonzero(same & (lengths[1:] > 8)).tolist():  # a CAN FD frame's other bytes
        same[at] = table.data(int(order[at])) == table.data(int(order[at + 1]))
    return np.concatenate((np.zeros(1, dtype=np.bool_), same))


def _is_repeat(last: _Last, table: FrameTable, row: int) -> bool:
    """The same question for one frame and the last one of the table before."""
    flags = int(table.flags[row])
    if flags & FrameFlag.ERROR or (flags ^ last.flags) & _COMPARED or int(table.length[row]) != last.length:
        return False
    directions = {flags & _DIRECTION, last.flags & _DIRECTION}
    is_echo = directions == {int(FrameFlag.SENT), int(FrameFlag.RECEIVED)}
    limit = ECHO_NS if is_echo else ONE_FD_FRAME_NS if flags & FrameFlag.FD else ONE_FRAME_NS
    return 0 <= int(table.time_ns[row]) - last.time_ns < limit and table.data(row) == last.data
