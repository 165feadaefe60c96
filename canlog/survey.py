"""The first pass over a capture: what it is, what can be trusted, and who else was on the bus."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np

from canlog.background import BackgroundBuilder, BackgroundTable
from canlog.by_id import IdCodes, channels_of
from canlog.capture.capture import Capture
from canlog.capture.identifiers import LARGEST_11_BIT
from canlog.copies import DOUBLED_SHARE, CopyFinder, Mask, without_copies
from canlog.frames import BadLine, DropMarker, FrameFlag, FrameTable, Ints, TimeKind

KEPT_EXAMPLES: Final = 10
#: Of each kind of event (clock steps, repeats, drops, error frames) as many are kept; the counts go on.
KEPT_EVENTS: Final = 10_000
#: From here on a stamp is a date: 2001 in seconds since 1970, or thirty years of uptime.
FIRST_DATE_NS: Final = 1_000_000_000 * 1_000_000_000

NOTE_SMALL_IDS: Final = "all 29-bit ids are below 800: perhaps 11-bit ids that were written with 8 digits"

_CONTROLLER: Final = 0x004  # error class "controller"; data byte 1 says which. linux/can/error.h
_RECEIVE_OVERFLOW: Final = 0x01


class ClockStep(NamedTuple):
    """The clock of one channel ran backwards here."""

    line: int
    channel: str
    time_ns: int
    size_ns: int  # how far back, positive


@dataclass(frozen=True, eq=False)
class CaptureSummary:
    """Facts about a whole capture. Counts are exact; lists hold at most :data:`KEPT_EVENTS`."""

    frames: int
    channels: tuple[str, ...]
    first_time_ns: int | None  # the smallest stamp; None without times
    last_time_ns: int | None  # the largest
    time_kind: TimeKind
    lines: int
    damaged_lines: int
    damaged_examples: tuple[BadLine, ...]
    damaged_line_numbers: Ints
    drops: tuple[DropMarker, ...]  # the logger's own word for lost frames, in order of line
    logger_drops: int  # frames lost by them, at least
    out_of_order: int  # backward steps, judged per channel
    clock_steps: tuple[ClockStep, ...]
    error_frames: int
    error_lines: Ints
    error_times_ns: Ints
    doubled: float  # share of frames that stand twice, 0 to 1
    repeats: int  # second copies
    repeated_lines: Ints  # of isolated ones: empty in a doubled capture
    notes: tuple[str, ...]  # what the reader had to assume

    @property
    def is_doubled(self) -> bool:
        """True if nearly every frame stands twice: the second pass drops the copies."""
        return self.doubled >= DOUBLED_SHARE


@dataclass(frozen=True, eq=False)
class Survey:
    """What the first pass found."""

    summary: CaptureSummary
    background: BackgroundTable
    packets: int = 0  # IP packets of diagnostics over Ethernet among the frames

    def frames(self, capture: Capture) -> Iterator[FrameTable]:
        """The capture's frames for the second pass: each once, if it is doubled."""
        return without_copies(capture.chunks()) if self.summary.is_doubled else capture.chunks()


def survey(
    capture: Capture, *, keep_ids: Collection[int] = (), feed: Callable[[FrameTable], None] | None = None
) -> Survey:
    """Read a capture once from end to end.

    ``feed`` is given every table too (without second copies where nearly every frame has one);
    whole frames of ``keep_ids`` are kept in the background table.
    """
    counting, background, copies, codes = _Counting(), BackgroundBuilder(keep_ids), CopyFinder(), IdCodes()
    packets = 0
    for table in capture.chunks():
        bus = table.frames_only()  # who speaks on Ethernet is for canlog.doip, and TCP knows what it has twice
        by_id = codes.sort(bus)
        second = copies.feed(bus, by_id)
        packets += len(table) - len(bus)
        if bus is not table:
            second = _spread(second, ~table.packets())
        counting.feed(table, second)
        background.feed(bus, by_id)
        if feed is not None:
            is_doubled = 2 * np.count_nonzero(second) >= DOUBLED_SHARE * max(len(table), 1)
            feed(table.take(~second) if is_doubled else table)
    seen = background.finish()
    return Survey(counting.summary([capture.note, _note_on_ids(seen)]), seen, packets)


def _spread(mask: Mask, rows: Mask) -> Mask:
    """A mask of some rows as one of all of them."""
    wide = np.zeros(len(rows), dtype=np.bool_)
    wide[rows] = mask
    return wide


def _note_on_ids(table: BackgroundTable) -> str:
    extended = [can_id for _, can_id, is_extended in table.ids() if is_extended]
    return NOTE_SMALL_IDS if extended and max(extended) <= LARGEST_11_BIT else ""


@dataclass
class _Counting:
    """The summary while the capture is read."""

    frames: int = 0
    channels: tuple[str, ...] = ()
    time_kind: TimeKind | None = None
    first_ns: int | None = None
    last_ns: int | None = None
    lines: int = 0
    examples: list[BadLine] = field(default_factory=list)
    damaged: list[Ints] = field(default_factory=list)
    drops: list[DropMarker] = field(default_factory=list)
    logger_drops: int = 0
    out_of_order: int = 0
    steps: list[ClockStep] = field(default_factory=list)
    error_frames: int = 0
    errors: list[tuple[int, int]] = field(default_factory=list)  # line, ns
    repeats: int = 0
    repeated: list[int] = field(default_factory=list)
    notes: tuple[str, ...] = ()
    last_of_channel: dict[int, int] = field(default_factory=dict)

    def feed(self, table: FrameTable, second_copies: Mask) -> None:
        self.frames += len(table)
        self.channels, self.lines, self.notes = table.channels, table.lines_read, table.notes
        self.time_kind = table.time_kind
        self.examples += table.bad_lines[: KEPT_EXAMPLES - len(self.examples)]
        self.damaged.append(np.array([bad.line for bad in table.bad_lines], dtype=np.int64))
        self._lost(table.drops)
        self.repeats += int(np.count_nonzero(second_copies))
        self.repeated += table.line[second_copies][: KEPT_EVENTS - len(self.repeated)].tolist()
        if len(table):
            first, last = int(table.time_ns.min()), int(table.time_ns.max())
            self.first_ns = first if self.first_ns is None else min(first, self.first_ns)
            self.last_ns = last if self.last_ns is None else max(last, self.last_ns)
            self._find_steps(table)
            self._find_errors(table)

    def _lost(self, drops: tuple[DropMarker, ...]) -> None:
        self.logger_drops += sum(max(drop.frames, 1) for drop in drops)
        self.drops += drops[: KEPT_EVENTS - len(self.drops)]

    def _find_steps(self, table: FrameTable) -> None:
        for code, here in channels_of(table):
            times = table.time_ns[here]
            steps = np.diff(times, prepend=self.last_of_channel.get(code, int(times[0])))
            self.last_of_channel[code] = int(times[-1])
            backward = np.flatnonzero(steps < 0)
            self.out_of_order += len(backward)
            for at in backward[: KEPT_EVENTS - len(self.steps)].tolist():
                line, time_ns = int(table.line[here][at]), int(times[at])
                self.steps.append(ClockStep(line, table.channels[code], time_ns, -int(steps[at])))

    def _find_errors(self, table: FrameTable) -> None:
        rows = np.flatnonzero(table.flags & FrameFlag.ERROR)
        self.error_frames += len(rows)
        if not len(rows):
            return
        kept = rows[: KEPT_EVENTS - len(self.errors)]
        self.errors += zip(table.line[kept].tolist(), table.time_ns[kept].tolist(), strict=True)
        suspects = rows[(table.can_id[rows] & _CONTROLLER != 0) & (table.length[rows] >= 2)]
        overflowed = suspects[table.payload[table.offset[suspects] + 1] & _RECEIVE_OVERFLOW != 0]
        text = "the logger's controller reports a receive overflow: frames were lost"
        self._lost(tuple(DropMarker(line, 0, text) for line in table.line[overflowed].tolist()))

    def summary(self, more_notes: list[str]) -> CaptureSummary:
        kind = self._kind()
        doubled = 2 * self.repeats / max(self.frames - self.error_frames, 1)
        is_doubled = doubled >= DOUBLED_SHARE
        return CaptureSummary(
            frames=self.frames,
            channels=self.channels,
            first_time_ns=None if kind is TimeKind.NONE else self.first_ns,
            last_time_ns=None if kind is TimeKind.NONE else self.last_ns,
            time_kind=kind,
            lines=self.lines,
            damaged_lines=sum(map(len, self.damaged)),
            damaged_examples=tuple(sorted(self.examples)),
            damaged_line_numbers=np.sort(np.concatenate(self.damaged)) if self.damaged else np.zeros(0, dtype=np.int64),
            drops=tuple(sorted(self.drops)),
            logger_drops=self.logger_drops,
            out_of_order=self.out_of_order,
            clock_steps=tuple(sorted(self.steps)),
            error_frames=self.error_frames,
            error_lines=np.array([line for line, _ in self.errors], dtype=np.int64),
            error_times_ns=np.array([time_ns for _, time_ns in self.errors], dtype=np.int64),
            doubled=min(doubled, 1.0),
            repeats=self.repeats,
            repeated_lines=np.array([] if is_doubled else sorted(self.repeated), dtype=np.int64),
            notes=(*self.notes, *filter(None, more_notes)),
        )

    def _kind(self) -> TimeKind:
        if self.time_kind is not None:
            return self.time_kind
        if self.first_ns is None or (self.frames > 1 and self.first_ns == self.last_ns == 0):
            return TimeKind.NONE
        return TimeKind.ABSOLUTE if self.first_ns >= FIRST_DATE_NS else TimeKind.RELATIVE
