"""What is kept of all the frames that belong to no diagnostic message.

Theory of operation: per channel and id a few numbers (how many, first and last, how many in each
second, the longest gaps), per channel the bits of each second, and whole frames only of rare ids and of ids that
were asked for. So memory grows with ids and seconds, not with frames.

An id falls silent when its gap is longer than :data:`SHORTEST_GAP_NS` and several of its own periods;
the period is the median of its last :data:`PERIOD_STEPS` steps.

Source: bits of a frame from ISO 11898-1 with an average number of stuff bits, right within ± 10 %; what is
a gap is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from canlog.copies import frame_keys
from canlog.frames import Frame, FrameFlag, FrameTable, Ints, join_tables

Floats = npt.NDArray[np.float64]

SECOND_NS: Final = 1_000_000_000
SHORTEST_GAP_NS: Final = 300_000_000
GAP_PERIODS: Final = 5
PERIOD_STEPS: Final = 1024
KEPT_GAPS: Final = 64  # the longest of each id
RARE_FRAMES: Final = 20  # ids with no more frames than this are kept whole
#: Whole frames kept of an id that was asked for; beyond, every second one is let go, again and again.
KEPT_FRAMES: Final = 200_000
#: Seconds a dense per-second answer may span: thirty days; more is a clock that jumped.
LONGEST_SPAN_S: Final = 30 * 86_400
BIT_RATES: Final = (500_000, 1_000_000)  # bit/s a bus is taken for: the usual one unless it would be over-full
#: A CAN FD data phase is taken as this many times faster (2 Mbit/s over 500 kbit/s); common practice, no source.
FD_SPEED_UP: Final = 4

_NO_SECONDS: Final = np.zeros(0, dtype=np.int64)


class Gap(NamedTuple):
    """A silence of one id."""

    from_ns: int
    to_ns: int
    from_line: int
    to_line: int

    @property
    def length_ns(self) -> int:
        """How long it was."""
        return self.to_ns - self.from_ns


@dataclass(frozen=True, eq=False)
class IdTraffic:
    """One id on one channel over the whole capture."""

    channel: str
    can_id: int
    extended: bool
    frames: int
    first_ns: int
    last_ns: int
    first_line: int
    last_line: int
    period_ns: int | None  # median step; None with fewer than two frames or without times
    gaps: tuple[Gap, ...]  # in order of time, the longest KEPT_GAPS
    seconds: Ints  # whole seconds of the capture's clock in which it was seen, ascending
    counts: Ints  # frames in each of them


@dataclass(frozen=True, eq=False)
class BackgroundTable:
    """All ids of a capture, its bus load and its error frames by second; ask it, do not take it apart."""

    traffic: tuple[IdTraffic, ...]
    first_second: int  # whole seconds of the capture's clock
    last_second: int
    bits: dict[str, tuple[Ints, Floats]]  # by channel: seconds, bits in each
    error_seconds: Ints  # one entry an error frame
    kept: dict[tuple[str, int, bool], FrameTable]
    thinned: frozenset[tuple[str, int, bool]]  # of these not every frame is kept

    def ids(self) -> tuple[tuple[str, int, bool], ...]:
        """(channel, id, extended) of all ids, by channel and id."""
        return tuple((each.channel, each.can_id, each.extended) for each in self.traffic)

    def of(self, channel: str, can_id: int, extended: bool | None = None) -> IdTraffic | None:
        """The traffic of an id, None if it was never seen. Without ``extended`` the 11-bit id comes first."""
        for each in self.traffic:
            if (each.channel, each.can_id) == (channel, can_id) and extended in (None, each.extended):
                return each
        return None

    def gaps(self, can_id: int, channel: str | None = None) -> tuple[Gap, ...]:
        """The silences of an id, on one or all channels, in order of time."""
        found = (each for each in self.traffic if each.can_id == can_id and channel in (None, each.channel))
        return tuple(sorted(gap for each in found for gap in each.gaps))

    def last_time(self, exclude: Collection[int] = (), channel: str | None = None) -> int | None:
        """When any other id was last seen, ns; None if there is none."""
        times = [
            each.last_ns for each in self.traffic if each.can_id not in exclude and channel in (None, each.channel)
        ]
        return max(times, default=None)

    def frames_of(self, can_id: int, channel: str | None = None) -> tuple[Frame, ...]:
        """The whole frames kept of an id (rare, or asked for by ``keep_ids``), in source order."""
        found = [table for key, table in self.kept.items() if key[1] == can_id and channel in (None, key[0])]
        return tuple(sorted((frame for table in found for frame in table), key=lambda frame: frame.line))

    @property
    def n_seconds(self) -> int:
        """Length of the per-second answers."""
        return min(self.last_second - self.first_second + 1, LONGEST_SPAN_S) if self.traffic else 0

    def per_second(self, channel: str, can_id: int, extended: bool | None = None) -> Ints:
        """shape (n_seconds,): frames of an id in each second from the capture's first one."""
        found = self.of(channel, can_id, extended)
        return self._dense(found.seconds, found.counts).astype(np.int64) if found else self._dense().astype(np.int64)

    def errors_per_second(self) -> Ints:
        """shape (n_seconds,): error frames in each second."""
        return self._dense(*np.unique(self.error_seconds, return_counts=True)).astype(np.int64)

    def bit_rate(self, channel: str) -> int:
        """The bit rate the bus is taken for: the first usual one that no second over-fills. A guess."""
        busiest = float(np.max(self.bits[channel][1], initial=0.0)) if channel in self.bits else 0.0
        return next((rate for rate in BIT_RATES if busiest <= rate), BIT_RATES[-1])

    def bus_load(self, channel: str, bit_rate: int | None = None) -> Floats:
        """shape (n_seconds,): share of each second that the bus was busy, an estimate; see :meth:`bit_rate`."""
        busy = self._dense(*self.bits[channel]) if channel in self.bits else self._dense()
        return busy / (bit_rate or self.bit_rate(channel))

    def _dense(self, seconds: Ints = _NO_SECONDS, values: Ints | Floats = _NO_SECONDS) -> Floats:
        """Values of single seconds as one number for each second of the capture."""
        dense = np.zeros(self.n_seconds, dtype=np.float64)
        at = seconds - self.first_second
        inside = (at >= 0) & (at < len(dense))
        dense[at[inside]] = values[inside]
        return dense


@dataclass
class _Growing:
    """An id's numbers while the capture is read."""

    frames: int = 0
    first: tuple[int, int] = (0, 0)  # ns, line
    last: tuple[int, int] = (0, 0)
    first_ns: int = 0
    last_ns: int = 0
    steps: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    gaps: list[Gap] = field(default_factory=list)
    seconds: list[Ints] = field(default_factory=list)
    counts: list[Ints] = field(default_factory=list)
    kept: list[FrameTable] | None = field(default_factory=list)
    stride: int = 1

    def take(self, times: Ints, lines: Ints) -> None:
        """Frames of this id, in source order."""
        seconds, counts = np.unique(times // SECOND_NS, return_counts=True)
        self.seconds.append(seconds)
        self.counts.append(counts)
        first_ns, last_ns = int(times.min()), int(times.max())
        if self.frames == 0:
            self.first = (int(times[0]), int(lines[0]))
            self.first_ns, self.last_ns = first_ns, last_ns
            self._find_gaps(times, lines)
        else:
            self.first_ns, self.last_ns = min(self.first_ns, first_ns), max(self.last_ns, last_ns)
            self._find_gaps(np.r_[self.last[0], times], np.r_[self.last[1], lines])
        self.frames += len(times)
        self.last = (int(times[-1]), int(lines[-1]))

    def _find_gaps(self, times: Ints, lines: Ints) -> None:
        steps = np.diff(times)
        self.steps = np.concatenate((self.steps, steps[steps > 0]))[-PERIOD_STEPS:]
        limit = max(SHORTEST_GAP_NS, GAP_PERIODS * int(self.period_ns or 0))
        if not len(steps) or int(steps.max()) <= limit:
            return
        self.gaps += [
            Gap(int(times[at]), int(times[at + 1]), int(lines[at]), int(lines[at + 1]))
            for at in np.flatnonzero(steps > limit).tolist()
        ]
        if len(self.gaps) > KEPT_GAPS:
            self.gaps = sorted(sorted(self.gaps, key=lambda gap: -gap.length_ns)[:KEPT_GAPS])

    @property
    def period_ns(self) -> int | None:
        return int(np.median(self.steps)) if len(self.steps) else None

    def keep(self, frames: FrameTable, *, always: bool) -> None:
        """Whole frames, as long as the id is rare or was asked for."""
        if self.kept is None:
            return
        if not always and self.frames > RARE_FRAMES:
            self.kept = None
            return
        self.kept.append(frames.take(np.arange(0, len(frames), self.stride)).compact())
        if sum(map(len, self.kept)) > KEPT_FRAMES:
            everything = join_tables(self.kept)
            self.kept = [everything.take(np.arange(0, len(everything), 2)).compact()]
            self.stride *= 2


class BackgroundBuilder:
    """Builds a :class:`BackgroundTable`, table after table of one pass."""

    def __init__(self, keep_ids: Collection[int] = ()) -> None:
        self._keep_ids = frozenset(keep_ids)
        self._ids: dict[int, _Growing] = {}
        self._names: dict[int, tuple[int, int, bool]] = {}  # channel code, id, extended
        self._channels: tuple[str, ...] = ()
        self._bits: dict[int, dict[int, float]] = {}
        self._error_seconds: list[Ints] = []

    def feed(self, table: FrameTable) -> None:
        """The next frames."""
        self._channels = table.channels
        is_error = table.flags & FrameFlag.ERROR != 0
        self._error_seconds.append(table.time_ns[is_error] // SECOND_NS)
        frames = table.take(~is_error) if is_error.any() else table
        self._count_bits(frames)
        for key, rows in _groups(frame_keys(frames)):
            growing = self._ids.get(key)
            if growing is None:
                growing = self._ids[key] = _Growing()
                first = int(rows[0])
                extended = bool(frames.flags[first] & FrameFlag.EXTENDED)
                self._names[key] = (int(frames.channel[first]), int(frames.can_id[first]), extended)
            growing.take(frames.time_ns[rows], frames.line[rows])
            if growing.kept is not None:
                growing.keep(frames.take(rows), always=self._names[key][1] in self._keep_ids)

    def _count_bits(self, frames: FrameTable) -> None:
        bits = frame_bits(frames)
        seconds = frames.time_ns // SECOND_NS
        for code in np.unique(frames.channel).tolist():
            here = frames.channel == code
            unique, inverse = np.unique(seconds[here], return_inverse=True)
            sums = np.bincount(inverse, weights=bits[here])
            totals = self._bits.setdefault(code, {})
            for second, total in zip(unique.tolist(), sums.tolist(), strict=True):
                totals[second] = totals.get(second, 0.0) + total

    def finish(self) -> BackgroundTable:
        """The table, once all frames were fed."""
        traffic = sorted((self._traffic(key) for key in self._ids), key=lambda e: (e.channel, e.can_id, e.extended))
        spans = [(each.first_ns, each.last_ns) for each in traffic]
        errors = np.concatenate(self._error_seconds) if self._error_seconds else np.zeros(0, dtype=np.int64)
        named = {self._name(key): growing for key, growing in self._ids.items()}
        return BackgroundTable(
            traffic=tuple(traffic),
            first_second=min((first for first, _ in spans), default=0) // SECOND_NS,
            last_second=max((last for _, last in spans), default=0) // SECOND_NS,
            bits={self._channels[code]: _columns(totals) for code, totals in self._bits.items()},
            error_seconds=errors,
            kept={name: join_tables(growing.kept) for name, growing in named.items() if growing.kept},
            thinned=frozenset(name for name, growing in named.items() if growing.stride > 1),
        )

    def _name(self, key: int) -> tuple[str, int, bool]:
        code, can_id, extended = self._names[key]
        return self._channels[code], can_id, extended

    def _traffic(self, key: int) -> IdTraffic:
        growing = self._ids[key]
        seconds, inverse = np.unique(np.concatenate(growing.seconds), return_inverse=True)
        counts = np.bincount(inverse, weights=np.concatenate(growing.counts)).astype(np.int64)
        return IdTraffic(
            *self._name(key), growing.frames, growing.first_ns, growing.last_ns, growing.first[1], growing.last[1],
            growing.period_ns, tuple(sorted(growing.gaps)), seconds, counts,
        )  # fmt: skip


def frame_bits(table: FrameTable) -> Floats:
    """shape (n,): bits of each frame, stuff bits estimated: 53 + 8n with an 11-bit id, 71 + 8n with a 29-bit id."""
    size = np.where(table.flags & FrameFlag.REMOTE, 0, table.length).astype(np.float64)
    size /= np.where(table.flags & FrameFlag.BRS, FD_SPEED_UP, 1)
    bits: Floats = np.where(table.flags & FrameFlag.EXTENDED, 71.0, 53.0) + 8.0 * size
    return bits


def _groups(keys: Ints) -> Iterator[tuple[int, Ints]]:
    """Each key and its rows, in source order."""
    order = np.argsort(keys, kind="stable")
    ends = np.flatnonzero(np.diff(keys[order])) + 1
    for rows in np.split(order, ends):
        if len(rows):
            yield int(keys[rows[0]]), rows


def _columns(totals: dict[int, float]) -> tuple[Ints, Floats]:
    seconds = sorted(totals)
    return np.array(seconds, dtype=np.int64), np.array([totals[each] for each in seconds], dtype=np.float64)
