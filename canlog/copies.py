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
from typing import Final

import numpy as np
import numpy.typing as npt

from canlog.by_id import ById, IdCodes, first_words
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


class CopyFinder:
    """Marks second copies, table after table of one pass."""

    def __init__(self) -> None:
        self._codes = IdCodes()
        # Of each id the last frame of the tables before: time, flags, length, first 8 bytes, whether it is a copy.
        self._last: npt.NDArray[np.int64] = np.zeros((0, 5), dtype=np.int64)
        self._last_data: dict[int, bytes] = {}  # where there are more than 8

    def feed(self, table: FrameTable, by_id: ById | None = None) -> Mask:
        """shape (n,): True where a frame is the second copy of an earlier one.

        Args:
            table: the next frames.
            by_id: their order, where the caller has it for all tables of the pass.
        """
        copies = np.zeros(len(table), dtype=np.bool_)
        if not len(table) or table.time_kind is TimeKind.NONE or not table.time_ns.any():
            return copies
        by_id = by_id or self._codes.sort(table)
        order, starts, ends, codes = by_id.order, by_id.starts, by_id.ends, by_id.codes
        words = first_words(table)[order].view(np.int64)
        repeats = _repeats(table, order, starts, words)
        self._make_room(int(codes.max()) + 1)
        goes_on = self._firsts_that_repeat(table, order[starts], codes, words[starts])
        if repeats.any() or goes_on.any():
            index = np.arange(len(order))
            run_start = np.where(repeats, 0, index)
            run_start[starts[goes_on]] -= 1  # the first of the id here continues the table before
            copies[order] = (index - np.maximum.accumulate(run_start)) % 2 == 1
        self._keep_lasts(table, order[ends - 1], codes, words[ends - 1], copies)
        return copies

    def _make_room(self, n_ids: int) -> None:
        if n_ids > len(self._last):
            new = np.zeros((2 * n_ids - len(self._last), 5), dtype=np.int64)
            new[:, 1] = int(FrameFlag.ERROR)  # nothing repeats it
            self._last = np.concatenate((self._last, new))

    def _firsts_that_repeat(self, table: FrameTable, rows: Ints, codes: Ints, words: Ints) -> Mask:
        """Does the first frame of each id repeat its last one of the table before, if that is no copy itself?"""
        times, flags, lengths, last_words, is_copy = self._last[codes].T
        same = _are_equal(
            table.time_ns[rows] - times, flags, table.flags[rows].astype(np.int64), lengths, table.length[rows]
        )
        same &= (words == last_words) & (is_copy == 0)
        for at in np.flatnonzero(same & (lengths > 8)).tolist():
            same[at] = table.data(int(rows[at])) == self._last_data[int(codes[at])]
        return same

    def _keep_lasts(self, table: FrameTable, rows: Ints, codes: Ints, words: Ints, copies: Mask) -> None:
        lengths = table.length[rows]
        self._last[codes] = np.stack(
            (table.time_ns[rows], table.flags[rows], lengths, words, copies[rows]), axis=1
        )  # fmt: skip
        for at in np.flatnonzero(lengths > 8).tolist():
            self._last_data[int(codes[at])] = table.data(int(rows[at]))


def without_copies(tables: Iterable[FrameTable]) -> Iterator[FrameTable]:
    """The tables of a doubled capture, each frame once."""
    finder = CopyFinder()
    for table in tables:
        once = table.take(~finder.feed(table))
        yield replace(
            once, bad_lines=table.bad_lines, drops=table.drops, lines_read=table.lines_read, notes=table.notes
        )


def _repeats(table: FrameTable, order: Ints, starts: Ints, words: Ints) -> Mask:
    """In sorted order: does a frame repeat the one before it of the same id in this table?"""
    times = table.time_ns[order]
    step = np.diff(times, prepend=times[:1])
    same = (step >= 0) & (step < ECHO_NS)
    same[1:] &= words[1:] == words[:-1]
    same[starts] = False
    # Few are left, and only these are looked at closely.
    at = np.flatnonzero(same)
    rows, before = order[at], order[at - 1]
    flags, flags_before = table.flags[rows].astype(np.int64), table.flags[before].astype(np.int64)
    same[at] = _are_equal(step[at], flags_before, flags, table.length[before], table.length[rows])
    for place in at[same[at] & (table.length[rows] > 8)].tolist():  # a CAN FD frame's other bytes
        same[place] = table.data(int(order[place])) == table.data(int(order[place - 1]))
    return same


def _are_equal(
    step_ns: Ints, flags_before: Ints, flags: Ints, length_before: npt.NDArray[np.integer],
    length: npt.NDArray[np.integer],
) -> Mask:  # fmt: skip
    """Whether frames of one id follow too soon on others like them, their data apart."""
    echo = (flags | flags_before) & _DIRECTION == _DIRECTION
    echo &= flags & _DIRECTION != flags_before & _DIRECTION
    limit = np.where(echo, ECHO_NS, np.where(flags & FrameFlag.FD, ONE_FD_FRAME_NS, ONE_FRAME_NS))
    same: Mask = (length == length_before) & ((flags ^ flags_before) & _COMPARED == 0)
    same &= (flags & FrameFlag.ERROR == 0) & (step_ns >= 0) & (step_ns < limit)
    return same
