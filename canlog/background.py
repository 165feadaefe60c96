"""What is kept of all the frames that belong to no diagnostic message.

Theory of operation: per channel and id a few numbers (how many, first and last, how many in each
second, the longest gaps), per channel the bits of each second, and whole frames only of rare ids and of ids that
were asked for. So memory grows with ids and seconds, not with frames.

An id falls silent when its gap is longer than :data:`SHORTEST_GAP_NS` and several of its own periods;
the period is the median of its last :data:`PERIOD_STEPS` steps, known only at the end: until then the longest
pauses are kept whatever the period.

Source: bits of a frame from ISO 11898-1 with an average number of stuff bits, right within ± 10 %; what is
a gap is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from canlog.by_id import ById, IdCodes, channels_of, data_sizes
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
SAMPLE_FRAMES: Final = 16  # the first of every other id
#: J1939 groups whose frames are all kept: long contents, and the active faults (SAE J1939-21, -73 (M)).
TRANSPORT_CONTROL: Final = 0xEC00
TRANSPORT_DATA: Final = 0xEB00
ACTIVE_FAULTS: Final = 0xFECA
_KEPT_GROUPS: Final = frozenset({TRANSPORT_CONTROL, TRANSPORT_DATA, ACTIVE_FAULTS})
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
    samples: dict[tuple[str, int, bool], FrameTable] = field(default_factory=dict)  # first frames of ids not kept

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

    def first_frames(self, channel: str, can_id: int, extended: bool) -> tuple[Frame, ...]:
        """The first frames of an id, at most :data:`SAMPLE_FRAMES`, in source order."""
        name = (channel, can_id, extended)
        table = self.kept.get(name) or self.samples.get(name)
        return tuple(table[row] for row in range(min(len(table), SAMPLE_FRAMES))) if table is not None else ()

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

    name: tuple[int, int, bool]  # channel code, id, extended
    first_line: int
    first_ns: int
    last_ns: int
    frames: int = 0
    newest: tuple[int, int] | None = None  # ns and line of the frame read last
    steps: list[Ints] = field(default_factory=list)  # positive ones, the last PERIOD_STEPS and perhaps more
    n_steps: int = 0
    pauses: list[Gap] = field(default_factory=list)  # the longest
    shortest_ns: int = SHORTEST_GAP_NS  # a pause has to be longer to be kept
    kept: list[FrameTable] | None = field(default_factory=list)
    sample: FrameTable | None = None  # the first frames, where not all are kept
    stride: int = 1

    def take_steps(self, steps: Ints) -> None:
        """Steps between frames, all positive."""
        self.steps.append(steps[-PERIOD_STEPS:].copy())
        self.n_steps += len(self.steps[-1])
        while self.n_steps - len(self.steps[0]) >= PERIOD_STEPS:
            self.n_steps -= len(self.steps.pop(0))

    def add_pauses(self, pauses: list[Gap]) -> None:
        """Pauses; the longest :data:`KEPT_GAPS` of all are kept, of equal ones the first."""
        self.pauses += pauses
        if len(self.pauses) > KEPT_GAPS:
            self.pauses = sorted(self.pauses, key=lambda each: (each.from_ns - each.to_ns, each.from_ns))[:KEPT_GAPS]
            self.shortest_ns = self.pauses[-1].length_ns

    @property
    def period_ns(self) -> int | None:
        return int(np.median(np.concatenate(self.steps)[-PERIOD_STEPS:])) if self.n_steps else None

    @property
    def gaps(self) -> tuple[Gap, ...]:
        limit = max(SHORTEST_GAP_NS, GAP_PERIODS * int(self.period_ns or 0))
        return tuple(sorted(pause for pause in self.pauses if pause.length_ns > limit))

    def keep(self, frames: FrameTable, *, always: bool) -> None:
        """Whole frames, as long as the id is rare or was asked for."""
        if self.kept is None:
            return
        if not always and self.frames > RARE_FRAMES:
            missing = SAMPLE_FRAMES - sum(map(len, self.kept))
            first = frames.take(np.arange(min(max(missing, 0), len(frames)))).compact()
            self.sample = join_tables([*self.kept, first])
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
        self._codes = IdCodes()
        self._ids: dict[int, _Growing] = {}  # by code
        self._channels: tuple[str, ...] = ()
        self._bits: dict[int, dict[int, float]] = {}
        self._error_seconds: list[Ints] = []
        self._counts: list[tuple[Ints, Ints, Ints]] = []  # codes, seconds, frames in them

    def feed(self, table: FrameTable, by_id: ById | None = None) -> None:
        """The next frames.

        Args:
            table: the frames.
            by_id: their order, where the caller has it for all tables of the pass.
        """
        self._channels = table.channels
        if not len(table):
            return
        by_id = by_id or self._codes.sort(table)
        is_error = table.flags & FrameFlag.ERROR != 0
        self._error_seconds.append(table.time_ns[is_error] // SECOND_NS)
        self._count_bits(table.take(~is_error) if is_error.any() else table)
        self._count_seconds(table, by_id)
        self._take_ids(table, by_id)

    def _take_ids(self, table: FrameTable, by_id: ById) -> None:
        times = table.time_ns[by_id.order]
        ids = [self._growing(table, code, int(by_id.order[start])) for code, start, _ in by_id.groups()]
        steps = np.diff(times, prepend=times[:1])
        steps[by_id.starts] = [
            0 if one is None or one.newest is None else time_ns - one.newest[0]
            for one, time_ns in zip(ids, times[by_id.starts].tolist(), strict=True)
        ]
        first_ns, last_ns, shortest, longest = (
            function.reduceat(values, by_id.starts).tolist()
            for function, values in (
                (np.minimum, times), (np.maximum, times), (np.minimum, steps), (np.maximum, steps)
            )
        )  # fmt: skip
        for at, (one, (_, start, end)) in enumerate(zip(ids, by_id.groups(), strict=True)):
            if one is None:
                continue
            rows, own = by_id.order[start:end], steps[start:end]
            one.first_ns, one.last_ns = min(one.first_ns, first_ns[at]), max(one.last_ns, last_ns[at])
            one.frames += end - start
            one.take_steps(own if shortest[at] > 0 else own[own > 0])
            if longest[at] > one.shortest_ns:
                one.add_pauses(_pauses(one, times[start:end], table.line[rows], own))
            one.newest = (int(times[end - 1]), int(table.line[rows[-1]]))
            if one.kept is not None:
                one.keep(table.take(rows), always=self._is_wanted(one))

    def _is_wanted(self, one: _Growing) -> bool:
        _, can_id, extended = one.name
        return can_id in self._keep_ids or (extended and parameter_group(can_id) in _KEPT_GROUPS)

    def _growing(self, table: FrameTable, code: int, row: int) -> _Growing | None:
        """The numbers of an id; None for an error frame's."""
        growing = self._ids.get(code)
        flags = int(table.flags[row])
        if growing is None and not flags & FrameFlag.ERROR:
            name = (int(table.channel[row]), int(table.can_id[row]), bool(flags & FrameFlag.EXTENDED))
            time_ns = int(table.time_ns[row])
            growing = self._ids[code] = _Growing(name, int(table.line[row]), time_ns, time_ns)
        return growing

    def _count_seconds(self, table: FrameTable, by_id: ById) -> None:
        """Frames of each id in each second: how long a second lasts in the rows of an id."""
        seconds = (table.time_ns // SECOND_NS)[by_id.order]
        is_new = np.diff(seconds, prepend=seconds[:1]) != 0
        is_new[by_id.starts] = True
        starts = np.flatnonzero(is_new)
        codes = np.repeat(by_id.codes, np.add.reduceat(is_new, by_id.starts, dtype=np.int64))
        self._counts.append((codes, seconds[starts], np.diff(starts, append=len(seconds))))

    def _count_bits(self, frames: FrameTable) -> None:
        bits = frame_bits(frames)
        seconds = frames.time_ns // SECOND_NS
        for code, here in channels_of(frames):
            first, sums = _sums(seconds[here], bits[here])
            totals = self._bits.setdefault(code, {})
            for at in np.flatnonzero(sums).tolist():
                second = int(first[at])
                totals[second] = totals.get(second, 0.0) + float(sums[at])

    def finish(self) -> BackgroundTable:
        """The table, once all frames were fed."""
        counts = _by_code(self._counts)
        traffic = sorted(
            (self._traffic(one, *counts[code]) for code, one in self._ids.items()),
            key=lambda each: (each.channel, each.can_id, each.extended),
        )
        spans = [(each.first_ns, each.last_ns) for each in traffic]
        errors = np.concatenate(self._error_seconds) if self._error_seconds else np.zeros(0, dtype=np.int64)
        named = {self._name(one): one for one in self._ids.values()}
        return BackgroundTable(
            traffic=tuple(traffic),
            first_second=min((first for first, _ in spans), default=0) // SECOND_NS,
            last_second=max((last for _, last in spans), default=0) // SECOND_NS,
            bits={self._channels[code]: _columns(totals) for code, totals in self._bits.items()},
            error_seconds=errors,
            kept={name: join_tables(growing.kept) for name, growing in named.items() if growing.kept},
            thinned=frozenset(name for name, growing in named.items() if growing.stride > 1),
            samples={name: growing.sample for name, growing in named.items() if growing.sample is not None},
        )

    def _name(self, one: _Growing) -> tuple[str, int, bool]:
        code, can_id, extended = one.name
        return self._channels[code], can_id, extended

    def _traffic(self, one: _Growing, seconds: Ints, counts: Ints) -> IdTraffic:
        last_line = one.newest[1] if one.newest is not None else one.first_line
        return IdTraffic(
            *self._name(one), one.frames, one.first_ns, one.last_ns, one.first_line, last_line, one.period_ns, one.gaps,
            seconds, counts,
        )  # fmt: skip


def parameter_group(can_id: int) -> int:
    """Number of the parameter group that a 29-bit id has in J1939 (SAE J1939-21 (M))."""
    group = can_id >> 8 & 0x3FFFF
    return group if group >> 8 & 0xFF >= 0xF0 else group & 0x3FF00


def _pauses(one: _Growing, times: Ints, lines: Ints, steps: Ints) -> list[Gap]:
    """The long steps of an id in a table, the first of which may begin in the table before."""
    found = []
    for at in np.flatnonzero(steps > one.shortest_ns).tolist():
        before = one.newest if at == 0 else (int(times[at - 1]), int(lines[at - 1]))
        if before is not None:
            found.append(Gap(before[0], int(times[at]), before[1], int(lines[at])))
    return found


def _by_code(parts: list[tuple[Ints, Ints, Ints]]) -> dict[int, tuple[Ints, Ints]]:
    """Seconds in ascending order and frames in them, by id code; the same second of two tables is one."""
    if not parts:
        return {}
    codes, seconds, counts = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.lexsort((seconds, codes))
    codes, seconds = codes[order], seconds[order]
    starts = np.flatnonzero((np.diff(codes, prepend=-1) != 0) | (np.diff(seconds, prepend=seconds[:1]) != 0))
    codes, seconds, counts = codes[starts], seconds[starts], np.add.reduceat(counts[order], starts)
    firsts = np.flatnonzero(np.diff(codes, prepend=-1))
    ends = np.append(firsts[1:], len(codes))
    return {int(codes[a]): (seconds[a:b].copy(), counts[a:b].copy()) for a, b in zip(firsts, ends, strict=True)}


def _sums(seconds: Ints, values: Floats) -> tuple[Ints, Floats]:
    """Seconds and the sum of values in each; seconds in which nothing was may be among them."""
    if not len(seconds):
        return seconds, values
    first, last = int(seconds.min()), int(seconds.max())
    if last - first < len(seconds) + 64:
        return np.arange(first, last + 1, dtype=np.int64), _weighed(seconds - first, values)
    unique, inverse = np.unique(seconds, return_inverse=True)  # a clock that jumps
    return unique, _weighed(inverse.astype(np.int64), values)


def _weighed(places: Ints, values: Floats) -> Floats:
    sums: Floats = np.bincount(places, weights=values).astype(np.float64)
    return sums


def frame_bits(table: FrameTable) -> Floats:
    """shape (n,): bits of each frame, stuff bits estimated: 53 + 8n with an 11-bit id, 71 + 8n with a 29-bit id."""
    size = data_sizes(table).astype(np.float64)
    is_fast = table.flags & FrameFlag.BRS != 0
    if is_fast.any():
        size[is_fast] /= FD_SPEED_UP
    bits: Floats = np.where(table.flags & FrameFlag.EXTENDED, 71.0, 53.0) + 8.0 * size
    return bits


def _columns(totals: dict[int, float]) -> tuple[Ints, Floats]:
    seconds = sorted(totals)
    return np.array(seconds, dtype=np.int64), np.array([totals[each] for each in seconds], dtype=np.float64)
