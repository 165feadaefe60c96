"""Frames to messages, a table at once: the fast twin of :mod:`canlog.isotp.reassembly`.

Whole messages beyond any doubt (:mod:`canlog.isotp.chains`) are cut out of the columns. Everything else
goes frame by frame through the readable state machine, which stays the only authority for what is
unusual. The two take turns only where nothing is open in the whole family, so that neither needs to know
more of the other than the last frame of each side. A message that a table cuts in two waits for the next
table. Runs of expected consecutive frames of a message that the state machine has open (longer than what
may wait, flow control not seen, a frame lost) are given to it in one piece.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import repeat
from typing import Final

import numpy as np

from canlog.frames import FrameTable, Ints, join_tables
from canlog.isotp.addressing import Link
from canlog.isotp.chains import find_firsts, find_links, find_longs, find_open_ends, find_singles, only
from canlog.isotp.cuts import Batch, cut_longs, cut_singles
from canlog.isotp.messages import Message
from canlog.isotp.reassembly import Reassembler, Side
from canlog.isotp.steps import State
from canlog.isotp.strand import DELAY_NS, Codes, Knots, directory_of, knots_of, strand_of
from canlog.isotp.transfer import Seen, Transfer

#: Fewer consecutive frames in a row are not worth a cut.
_SHORTEST_RUN: Final = 4
#: Frames made ready for the state machine at once.
_PAGE: Final = 64
#: Frames of one message held back for the next table: enough for 4095 bytes with flow control after each frame.
_MOST_HELD: Final = 1200


@dataclass(frozen=True, slots=True, eq=False)
class _Frames:
    """Data frames of our links, in source order, and the side of each."""

    table: FrameTable
    sides: Codes

    def joined(self, more: _Frames) -> _Frames:
        """These and the ones behind them."""
        if not len(self.sides):
            return more
        if not len(more.sides):
            return self
        return _Frames(join_tables((self.table, more.table)), np.concatenate((self.sides, more.sides)))

    def only(self, rows: Ints) -> _Frames:
        """Some of them, without the bytes of the others."""
        return _Frames(self.table.take(rows).compact(), self.sides[rows])


_NOTHING: Final = _Frames(join_tables(()), np.zeros(0, dtype=np.int16))


class BulkReassembler(Reassembler):
    """:class:`~canlog.isotp.reassembly.Reassembler`, much faster where the traffic is in order."""

    def __init__(self, links: Sequence[Link]) -> None:
        super().__init__(links)
        self._directory = directory_of({}, [])
        self._last_line = -1
        self._held = _NOTHING

    def feed(self, table: FrameTable) -> Sequence[Message]:
        """The messages that ended in this table, in order of completion; each is made when it is looked at."""
        has_clock = self._has_clock or bool(table.time_ns.any())
        is_in_order = self._is_in_order(table)
        if not is_in_order or has_clock != self._has_clock:
            self._let_go()
        if not is_in_order:
            return super().feed(table)
        self._has_clock = has_clock
        n_sides = len(self._sides)
        self._learn(table.channels)
        if len(self._sides) > n_sides:
            self._directory = directory_of(self._stations, self._sides)
        rows, sides = self._directory.rows_of(table)
        ours = table if len(rows) == len(table) else table.take(rows)
        self._repeats.take_table(table, rows, ours, sides, self._sides, has_clock=has_clock)
        return self._read(_Frames(ours, sides), may_hold=True)

    def finish(self, end_ns: int, end_line: int) -> list[Message]:
        """The messages still open where the capture ends, as incomplete, in order of their begin."""
        self._let_go()
        return super().finish(end_ns, end_line)

    def _read(self, frames: _Frames, *, may_hold: bool) -> Sequence[Message]:
        """The messages that end in the frames held back and these."""
        frames = self._held.joined(frames)
        self._held = _NOTHING
        if not len(frames.sides):
            return []
        reading = _Reading(self, frames.table, self._knots(frames), may_hold=may_hold)
        messages = reading.messages()
        if reading.held:
            self._held = frames.only(np.sort(np.concatenate(reading.held)))
        return messages

    def _let_go(self) -> None:
        """Give the frames held back to the state machine; no message ends in them."""
        ended = self._read(_NOTHING, may_hold=False)
        assert not ended

    def family_of(self, code: int) -> list[Side]:
        """All sides of the family of one."""
        family = self._directory.family
        return [self._sides[n] for n in np.flatnonzero(family == family[code]).tolist()]

    def _is_in_order(self, table: FrameTable) -> bool:
        """Every frame has a line of its own, in order: the state machine knows a frame by its line."""
        lines = table.line
        if not len(lines):
            return True
        is_rising = int(lines[0]) > self._last_line and bool((lines[1:] > lines[:-1]).all())
        self._last_line = max(self._last_line, int(lines.max()))
        return is_rising

    def _knots(self, frames: _Frames) -> Knots:
        strand = strand_of(frames.table, frames.sides, self._directory)
        knots = knots_of(strand, self._directory, has_clock=self._has_clock)
        for code in np.unique(knots.side).tolist():
            knot = knots.of_side(code)[0]
            first = int(knots.frame[knot])
            knots.is_odd[knot] = self._sides[code].is_repeat_or_earlier(
                int(strand.time_ns[first]), strand.data(first), has_clock=self._has_clock
            )
        return knots


class _Reading:
    """One table's frames on their way to messages."""

    def __init__(self, owner: BulkReassembler, table: FrameTable, knots: Knots, *, may_hold: bool) -> None:
        self._owner = owner
        self._sides = owner._sides
        self._table = table
        self._strand = knots.strand
        self._knots = knots
        links = find_links(knots, owner._directory)
        firsts = find_firsts(knots, owner._directory)
        self._singles = find_singles(knots)
        self._longs = find_longs(knots, links, firsts)
        self._open_ends = find_open_ends(knots, links, firsts) if may_hold else set()
        self.held: list[Ints] = []  # rows of the table that wait for the next one
        self._is_stepped = np.zeros(len(knots), dtype=bool)  # went through the state machine
        self._pages: dict[int, list[tuple[int, Seen]]] = {}  # the newest only
        self._done_rows: list[int] = []  # where the state machine's messages ended

    def messages(self) -> Sequence[Message]:
        """The messages that ended, in order of completion."""
        begin = 0
        for end in self._knots.family_ends():
            self._read_family(begin, end)
            begin = end
        return self._in_order()

    # -- taking turns ------------------------------------------------------------------------------

    def _read_family(self, begin: int, end: int) -> None:
        """One family's knots: whole messages at once while nothing is open, else step by step."""
        codes = np.unique(self._knots.side[begin:end]).tolist()
        family = self._owner.family_of(codes[0])
        at = begin
        while at < end:
            if all(side.transfer is None for side in family):
                if at in self._open_ends and self._hold(at, end):
                    return
                stop = min(int(self._whole_until[at]), end)
                if stop:
                    self._pass_over(codes, at, stop)
                    at = stop
                    continue
            self._step(at)
            at += 1

    def _hold(self, at: int, end: int) -> bool:
        """Let the last knots of a family wait for the next table, if they are not too many frames."""
        rows = self._strand.row[int(self._knots.frame[at]) : int(self._knots.last[end - 1]) + 1]
        if len(rows) > _MOST_HELD:
            return False
        self.held.append(rows)
        return True

    @cached_property
    def _whole_until(self) -> Ints:
        """shape (k,): where a knot begins a whole message, the end of the last of those that follow on it; else 0."""
        until = np.zeros(len(self._knots), dtype=np.int64)
        until[self._singles.knot] = self._singles.knot + 1
        until[self._longs.first] = self._longs.last + 1
        begins = np.flatnonzero(until)
        ends = until[begins]
        gaps = np.append(np.flatnonzero(begins[1:] != ends[:-1]), len(ends) - 1)
        until[begins] = ends[gaps[np.searchsorted(gaps, np.arange(len(ends)))]]
        return until

    def _pass_over(self, codes: Sequence[int], begin: int, end: int) -> None:
        """Tell the sides which frames of theirs were the last in a range of knots."""
        for code in codes:
            knots = self._knots.of_side(code)
            place = int(np.searchsorted(knots, end)) - 1
            if place >= 0 and knots[place] >= begin:
                self._remember(self._sides[code], int(self._knots.last[knots[place]]))

    def _remember(self, side: Side, frame: int) -> None:
        side.pass_over(int(self._strand.time_ns[frame]), self._strand.data(frame))

    def _step(self, knot: int) -> None:
        """Give the state machine a knot and its tail, in runs where it can."""
        self._is_stepped[knot] = True
        frame, end = int(self._knots.frame[knot]), int(self._knots.last[knot]) + 1
        if self._knots.is_odd[knot]:
            frame += self._step_frame(frame)
        while frame < end:
            n_frames = self._run(frame, end) if end - frame >= _SHORTEST_RUN else 0
            frame += n_frames or self._step_frame(frame)

    def _step_frame(self, frame: int) -> int:
        """Give the state machine one frame."""
        code, seen = self._seen(frame)
        done = self._owner._done
        self._sides[code].take(seen, has_clock=self._owner._has_clock)
        if len(done) > len(self._done_rows):
            self._done_rows += repeat(int(self._strand.row[frame]), len(done) - len(self._done_rows))
        return 1

    def _seen(self, frame: int) -> tuple[int, Seen]:
        """A frame's side, and what the state machine needs of it; a page of them is made at once."""
        page, place = divmod(frame, _PAGE)
        if page not in self._pages:
            self._pages = {page: list(self._page(slice(page * _PAGE, (page + 1) * _PAGE)))}
        return self._pages[page][place]

    def _page(self, frames: slice) -> Iterator[tuple[int, Seen]]:
        strand, table, row = self._strand, self._table, self._strand.row[frames]
        for code, time_ns, line, position, start, length in zip(
            strand.side[frames].tolist(), strand.time_ns[frames].tolist(), table.line[row].tolist(),
            table.position[row].tolist(), strand.offset[frames].tolist(), strand.length[frames].tolist(), strict=True,
        ):  # fmt: skip
            yield code, Seen(time_ns, line, position, self._payload[start : start + length])

    @cached_property
    def _payload(self) -> bytes:
        return self._strand.payload.tobytes()

    # -- runs of consecutive frames ----------------------------------------------------------------

    def _run(self, frame: int, end: int) -> int:
        """Take what the open message waits for, of the frames of a tail; how many, 0 when they are too few."""
        code, seen = self._seen(frame)
        side, strand = self._sides[code], self._strand
        transfer = side.transfer
        if transfer is None or side.state is not State.COLLECTING:
            return 0
        n_frames = min(end - frame, transfer.places_ahead())
        is_expected = (
            strand.control[frame] == 0x20 | (transfer.next_place + 1) & 0x0F
            and strand.length[frame] == transfer.frame_bytes
            and 0 <= seen.time_ns - transfer.active_ns < DELAY_NS
        )
        if not is_expected or n_frames < _SHORTEST_RUN:
            return 0
        self._extend(side, transfer, frame, n_frames)
        return n_frames

    def _extend(self, side: Side, transfer: Transfer, frame: int, n_frames: int) -> None:
        strand, run = self._strand, slice(frame, frame + n_frames)
        starts = strand.offset[run] + (transfer.frame_bytes - transfer.piece_bytes)
        data = strand.payload[starts[:, None] + np.arange(transfer.piece_bytes)].tobytes()
        gaps_ns = np.diff(strand.time_ns[run], prepend=transfer.active_ns)
        transfer.extend(data, n_frames, self._seen(frame + n_frames - 1)[1], int(gaps_ns.max()))
        self._remember(side, frame + n_frames - 1)

    # -- messages ----------------------------------------------------------------------------------

    def _in_order(self) -> Sequence[Message]:
        """The messages of both ways, in order of the frame that ended them."""
        knots, row = self._knots, self._strand.row
        singles = only(self._singles, ~self._is_stepped[self._singles.knot])
        longs = only(self._longs, ~self._is_stepped[self._longs.first])
        ends = (row[knots.frame[singles.knot]], row[knots.last[longs.last]], np.array(self._done_rows, dtype=np.int64))
        owners = [(side.link, side.direction) for side in self._sides]
        parts = (
            cut_singles(self._table, knots, singles, owners),
            cut_longs(self._table, knots, longs, owners),
            self._owner._taken(),
        )
        return Batch(parts, np.argsort(np.concatenate(ends), kind="stable"))
