"""One frame again and again with nothing else on its channel in between: a sender that nobody acknowledges.

A frame that no other node acknowledges is sent again at once, and again, without end: missing acknowledgements alone
never take a sender off the bus. So a run of equal frames, with no other frame of the channel between them but error
frames, is one frame that found nobody. Two ways to count lead to the same runs: :meth:`RepeatFinder.take` frame by
frame, for the readable reassembly, and :meth:`RepeatFinder.take_table` by columns, for its fast twin.

Source: ISO 11898-1:2015, fault confinement (M); where a run begins to count is our choice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from canlog.by_id import channels_of
from canlog.frames import FrameFlag, FrameTable, Ints
from canlog.isotp.messages import Repeated
from canlog.isotp.transfer import Seen

if TYPE_CHECKING:
    from canlog.isotp.reassembly import Side

Codes = npt.NDArray[np.int16]

#: The next attempt comes sooner: 8 bytes with a 29-bit id, stuffed, and an error frame take 1.5 ms at 125 kbit/s.
NEXT_ATTEMPT_NS: Final = 2_000_000
#: A run is kept from here on. After 16 attempts a sender is error passive; no copies of a logger are as many.
FEWEST: Final = 20


@dataclass(slots=True)
class _Run:
    """Equal frames of one side; most runs are one frame."""

    side: Side
    data: bytes
    count: int
    first: Seen
    last: Seen
    place: int  # of the last frame among all of its channel

    def goes_on(self, side: Side, frame: Seen, place: int) -> bool:
        is_next = side is self.side and place == self.place + 1
        return is_next and 0 <= frame.time_ns - self.last.time_ns < NEXT_ATTEMPT_NS and frame.data == self.data


class RepeatFinder:
    """Runs of equal frames on the links of a reassembly."""

    def __init__(self) -> None:
        self._found: list[Repeated] = []
        self._runs: dict[int, _Run] = {}  # by channel: the one that may go on
        self._frames: dict[int, int] = {}  # by channel: how many were on it

    @property
    def found(self) -> tuple[Repeated, ...]:
        """The runs so far, in order of line."""
        open_runs = [_repeated(run) for run in self._runs.values() if run.count >= FEWEST]
        return tuple(sorted([*self._found, *open_runs], key=lambda one: (one.first_line, one.last_line)))

    def places(self, table: FrameTable) -> Ints:
        """shape (n,), int64: which frame of its channel each one is; error frames have that of the frame before."""
        places = np.empty(len(table), dtype=np.int64)
        for channel, here in channels_of(table):
            places[here] = self._places_on(table, channel, here).of_all()[here]
        return places

    def _places_on(self, table: FrameTable, channel: int, here: npt.NDArray[np.bool_] | slice) -> _Places:
        is_frame = table.flags & FrameFlag.ERROR == 0
        places = _Places(is_frame if isinstance(here, slice) else is_frame & here, self._frames.get(channel, 0))
        self._frames[channel] = places.of(len(table) - 1)
        return places

    def take(self, side: Side, channel: int, frame: Seen, place: int, *, has_clock: bool) -> None:
        """The next frame of a side."""
        run = self._runs.get(channel)
        if run is not None and has_clock and run.goes_on(side, frame, place):
            run.count, run.last, run.place = run.count + 1, frame, place
            return
        self._begin(channel, _Run(side, frame.data, 1, frame, frame, place))

    def take_table(
        self, table: FrameTable, rows: Ints, ours: FrameTable, codes: Codes, sides: list[Side], *, has_clock: bool
    ) -> None:
        """A table's frames at once.

        Args:
            table: all frames.
            rows: which of them have a side.
            ours: these alone.
            codes: shape of rows; the side of each, as its place in ``sides``.
            sides: all sides.
            has_clock: the stamps tell something.
        """
        for channel, here in channels_of(table):
            places = self._places_on(table, channel, here)
            own = slice(None) if isinstance(here, slice) else np.flatnonzero(here[rows])
            frames = ours if isinstance(own, slice) else ours.take(own)
            if len(frames):
                columns = _Columns(frames, rows[own], codes[own], sides, places)
                self._take_channel(channel, columns, has_clock=has_clock)

    def _take_channel(self, channel: int, columns: _Columns, *, has_clock: bool) -> None:
        same = columns.repeats() if has_clock else np.zeros(len(columns), dtype=bool)
        run = self._runs.get(channel)
        first = columns.run(0, 1)
        same[0] = run is not None and has_clock and run.goes_on(first.side, first.first, first.place)
        begins = np.flatnonzero(~same)
        head = int(begins[0]) if len(begins) else len(columns)
        if run is not None and head:
            more = columns.run(0, head)
            run.count, run.last, run.place = run.count + head, more.last, more.place
        ends = np.append(begins[1:], len(columns))
        is_kept = ends - begins >= FEWEST
        is_kept[-1:] = True  # the last one may go on in the next table
        for begin, end in zip(begins[is_kept].tolist(), ends[is_kept].tolist(), strict=True):
            self._begin(channel, columns.run(begin, end))

    def _begin(self, channel: int, run: _Run) -> None:
        """The run that was open on the channel is over."""
        before = self._runs.get(channel)
        if before is not None and before.count >= FEWEST:
            self._found.append(_repeated(before))
        self._runs[channel] = run


class _Places:
    """Which frame of its channel a row of a table is."""

    def __init__(self, is_frame: npt.NDArray[np.bool_], before: int) -> None:
        self._is_frame, self._before = is_frame, before

    def of(self, row: int) -> int:
        return self._before + int(np.count_nonzero(self._is_frame[: row + 1]))

    def of_all(self) -> Ints:
        return self._before + np.cumsum(self._is_frame)


@dataclass(frozen=True, slots=True)
class _Columns:
    """Frames of one channel that have a side."""

    frames: FrameTable
    rows: Ints  # in the table of all frames
    codes: Codes
    sides: list[Side]
    places: _Places

    def __len__(self) -> int:
        return len(self.frames)

    def repeats(self) -> npt.NDArray[np.bool_]:
        """shape (n,): does a frame repeat the one before it?"""
        frames, codes, length = self.frames, self.codes, self.frames.length
        same = np.zeros(len(frames), dtype=bool)
        at = self._with_equal_heads()
        if not len(at):
            return same
        gaps = frames.time_ns[at] - frames.time_ns[at - 1]
        at = at[(gaps >= 0) & (gaps < NEXT_ATTEMPT_NS) & (codes[at] == codes[at - 1]) & (length[at] == length[at - 1])]
        if not len(at):
            return same
        places = self.places.of_all()
        at = at[places[self.rows[at]] == places[self.rows[at - 1]] + 1]
        same[at] = [frames.data(place) == frames.data(place - 1) for place in at.tolist()]
        return same

    def _with_equal_heads(self) -> Ints:
        """Frames that begin as the one before, or are empty: few, because messages count on."""
        frames = self.frames
        if not len(frames.payload):
            return np.arange(1, len(frames))
        head = frames.payload.take(frames.offset, mode="clip")
        return np.flatnonzero((head[1:] == head[:-1]) | (frames.length[1:] == 0)) + 1

    def run(self, begin: int, end: int) -> _Run:
        """Frames from one to before another, as a run of equal ones."""
        first, last = self._seen(begin), self._seen(end - 1)
        side = self.sides[int(self.codes[begin])]
        return _Run(side, first.data, end - begin, first, last, self.places.of(int(self.rows[end - 1])))

    def _seen(self, at: int) -> Seen:
        return Seen(int(self.frames.time_ns[at]), int(self.frames.line[at]), 0, self.frames.data(at))


def _repeated(run: _Run) -> Repeated:
    side = run.side
    return Repeated(
        side.link, side.direction, run.count, run.first.line, run.last.line, run.first.time_ns, run.last.time_ns
    )
