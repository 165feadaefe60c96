"""Whether the vehicle moved and the engine ran while it was worked on, as cyclic messages say that names know.

An act is covered by the frames within it and, where the capture has a clock, by the last one in front and the
first one behind, if they are no farther than ``neighbourhood_ns``: a write takes less than the period of such a
message. *Moving* and *running* need two frames in a row; one alone may be a disturbance. It is what a signal
says by its name, so it never proves an act.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Final, NamedTuple

from analysis.exchanges import Exchange, Place
from analysis.limits import Limits
from analysis.operations.model import Kind, Operation
from analysis.words import Evidence
from canlog.frames import FrameFlag, TimeKind
from canlog.isotp.addressing import id_text
from canlog.names.signals import UNITS, Quantity, SignalName
from canlog.services.traits import Act

if TYPE_CHECKING:
    from analysis.record import CaptureRecord, Record

#: So many frames in a row say that something moves or runs.
IN_A_ROW: Final = 2
#: What is done to a memory: these acts are looked at. A check or a reading behind them is not.
PROGRAMMING: Final = frozenset({Kind.DOWNLOAD, Kind.FILE})
WORK: Final = PROGRAMMING | {Kind.WRITE, Kind.WRITE_MEMORY}
_BEGINS: Final = frozenset({Act.ROUTINE, Act.DOWNLOAD, Act.FILE, Act.WRITE, Act.WRITE_MEMORY})
_ENDS: Final = frozenset({Act.DOWNLOAD, Act.FILE, Act.BLOCK, Act.EXIT, Act.WRITE, Act.WRITE_MEMORY})


class Moved(StrEnum):
    """What vehicle or engine did."""

    MOVING = "moving"
    STANDING = "standing"
    RUNNING = "running"
    STOPPED = "stopped"


class Moment(NamedTuple):
    """One frame of a signal; ``value`` in the unit of its quantity."""

    place: Place
    time_ns: int
    value: Decimal
    is_on: bool  # moves, runs


@dataclass(frozen=True)
class Course:
    """All that one signal said on one channel of one capture, in order."""

    signal: SignalName
    capture: int
    channel: str
    has_clock: bool
    moments: tuple[Moment, ...]

    @property
    def source(self) -> str:
        """``channel:id``."""
        return f"{self.channel}:{id_text(self.signal.can_id, self.signal.extended)}"

    @property
    def unit(self) -> str:
        """Of its values; empty for a state."""
        return UNITS[self.signal.quantity]

    @cached_property
    def _places(self) -> list[Place]:
        return [one.place for one in self.moments]

    def between(self, begin: Place, end: Place) -> Sequence[Moment]:
        """The moments from one place to another."""
        return self.moments[bisect_left(self._places, begin) : bisect_right(self._places, end)]

    def around(self, act: Span, near_ns: int) -> Sequence[Moment]:
        """The moments that cover an act; none where it is in another capture."""
        first, behind = bisect_left(self._places, act.begin), bisect_right(self._places, act.end)
        if not self.has_clock:
            return self.moments[first:behind]
        if first > 0 and 0 <= act.begin_ns - self.moments[first - 1].time_ns <= near_ns:
            first -= 1
        if behind < len(self.moments) and 0 <= self.moments[behind].time_ns - act.end_ns <= near_ns:
            behind += 1
        return self.moments[first:behind]


class Span(NamedTuple):
    """The part of an act in which the module's memory was worked on."""

    begin: Place
    end: Place
    begin_ns: int
    end_ns: int


@dataclass(frozen=True, slots=True)
class Meanwhile:
    """What one signal said during one act."""

    operation: Operation
    course: Course
    moved: Moved
    moments: Sequence[Moment]

    @property
    def values(self) -> str:
        """``0 to 12 km/h``; of a state without numbers nothing."""
        if not self.course.unit:
            return ""
        low, high = (f"{end(one.value for one in self.moments):.0f}" for end in (min, max))
        return f"{low if low == high else f'{low} to {high}'} {self.course.unit}"

    @property
    def lines(self) -> tuple[int, ...]:
        """The first line and the last."""
        return tuple(dict.fromkeys((self.moments[0].place[1], self.moments[-1].place[1])))

    @property
    def evidence(self) -> Evidence:
        """The signal's frames meanwhile."""
        said = f"{self.course.signal.name}: {self.values or self.moved.value}"
        return Evidence(self.course.capture, self.lines, said)


def courses(captures: Iterable[CaptureRecord], signals: Sequence[SignalName], limits: Limits) -> Iterator[Course]:
    """The course of every signal of speed and engine that was on a bus."""
    wanted = [one for one in signals if one.quantity is not Quantity.SUPPLY]
    for capture in captures:
        has_clock = capture.survey.summary.time_kind is not TimeKind.NONE
        for signal in dict.fromkeys(wanted):
            for channel, moments in _by_channel(capture, signal, limits).items():
                yield Course(signal, capture.number, channel, has_clock, tuple(moments))


def _by_channel(capture: CaptureRecord, signal: SignalName, limits: Limits) -> Mapping[str, list[Moment]]:
    least = {Quantity.SPEED: limits.vehicle_moves_kmh, Quantity.TURNS: limits.engine_runs_per_min}
    found: dict[str, list[Moment]] = {}
    for frame in capture.survey.background.frames_of(signal.can_id):
        value = signal.reading(frame.data)
        if value is None or bool(frame.flags & FrameFlag.EXTENDED) != signal.extended:
            continue
        is_on = value >= least.get(signal.quantity, 1)
        found.setdefault(frame.channel, []).append(
            Moment((capture.number, frame.line), frame.time_ns, value, is_on)
        )  # fmt: skip
    return found


def meanwhile(record: Record, operations: Iterable[Operation]) -> list[Meanwhile]:
    """What speed and engine were during each act on a memory, as far as it is told, in order of the acts."""
    acts = [(one, span) for one in operations if one.kind in WORK and (span := _span(one, record)) is not None]
    found = []
    for operation, span in acts:
        for course in record.courses:
            moments = course.around(span, record.limits.neighbourhood_ns)
            if moments:
                found.append(Meanwhile(operation, course, moved(course.signal.quantity, moments), moments))
    return found


def engine_stood(record: Record, begin: Place, end: Place) -> Evidence | None:
    """The frames that say so for a whole stretch of one capture; None where none do, or one says that it ran."""
    found = []
    for course in record.courses:
        moments = course.between(begin, end)
        if course.signal.quantity is Quantity.SPEED or not moments:
            continue
        if any(one.is_on for one in moments):
            return None
        lines = tuple(dict.fromkeys((moments[0].place[1], moments[-1].place[1])))
        found.append(Evidence(course.capture, lines, f"{course.signal.name}: the engine stands"))
    return found[0] if found else None


def moved(quantity: Quantity, moments: Sequence[Moment]) -> Moved:
    """What a stretch of a signal says."""
    is_on = any(one.is_on and other.is_on for one, other in pairwise(moments))
    if quantity is Quantity.SPEED:
        return Moved.MOVING if is_on else Moved.STANDING
    return Moved.RUNNING if is_on else Moved.STOPPED


def _span(operation: Operation, record: Record) -> Span | None:
    """From the erase or first order to the last byte sent: a check or a reading later, after a restart, is no part."""
    members = [record.exchanges[number - 1] for number in operation.exchanges]
    begins = [one for one in members if one.act in _BEGINS]
    ends = [one for one in members if one.act in _ENDS]
    if not begins or not ends:
        return None
    first = begins[0]
    last: Exchange = max(ends, key=lambda one: one.end)
    return Span(first.begin, last.end, first.begin_ns, last.end_ns) if first.begin < last.end else None
