"""Can this capture be trusted? The first thing a technician still at the vehicle wants to know.

poor: something is missing that a verdict needs (no frames, one direction only, many lines unreadable);
limited: a doubt that lowers confidence; good: neither. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from analysis.exchanges import Exchange
from analysis.trust.doubts import lacks_frames
from analysis.trust.late_start import cut_beginnings
from analysis.trust.missing_steps import Missing
from analysis.trust.one_way import one_way
from analysis.trust.record_gaps import said_of_gap
from analysis.trust.stalls import Stall, find_stalls
from canlog.background import Gap
from canlog.counting import counted
from canlog.frames import TimeKind
from canlog.isotp.addressing import Direction
from canlog.isotp.messages import MessageTable
from canlog.names.tables import Names
from canlog.survey import Survey

NO_NAMES = Names(())

#: One unreadable line in so many makes a capture poor.
POOR_DAMAGE = 20

#: A receiver gives up there: the record holds a frame twice, or joins two sendings of one message.
REPEATED = "repeated-consecutive-frame"


class Fitness(StrEnum):
    """How far a capture can be trusted."""

    GOOD = "good"
    LIMITED = "limited"
    POOR = "poor"


@dataclass(frozen=True, slots=True)
class Trust:
    """Fitness and its reasons."""

    fitness: Fitness
    reasons: tuple[str, ...]


def judge_fitness(
    survey: Survey,
    messages: MessageTable,
    exchanges: Sequence[Exchange],
    missing: Sequence[Missing],
    gaps: Sequence[Gap],
    names: Names = NO_NAMES,
    copied: Mapping[str, str] | None = None,
) -> Trust:
    """The fitness of one capture; with names its modules are called by theirs.

    ``copied`` are the channels that only repeat the requests of another one, as ``copied_channels`` finds them.
    """
    half = one_way(exchanges)
    poor = [*_poor(survey), *_halves(half, messages, names)]
    limited = list(_limited(survey, messages))
    lacking = _missing(missing)
    lacking += [said_of_gap(gap) for gap in gaps]
    lacking += _stalls(find_stalls(exchanges, gaps))
    limited += lacking
    limited += _beginnings([item for item in exchanges if item.link.key not in half], names)
    good = list(_good(survey, messages, is_missing=bool(lacking)))
    good += [
        f"{one} only repeats the requests of {other}, so {other} is judged" for one, other in (copied or {}).items()
    ]
    known = list(survey.summary.notes)  # what the reader had to assume, and what its form cannot tell
    if poor:
        return Trust(Fitness.POOR, tuple(poor + limited + known))
    if limited:
        return Trust(Fitness.LIMITED, tuple(limited + good + known))
    return Trust(Fitness.GOOD, tuple(good + known))


def _poor(survey: Survey) -> list[str]:
    summary = survey.summary
    reasons = []
    if summary.frames == 0:
        reasons.append("it holds no frame")
    elif summary.damaged_lines * POOR_DAMAGE > summary.lines:
        reasons.append(f"{summary.damaged_lines} of {counted(summary.lines, 'line')} cannot be read")
    return reasons


def _halves(half: Mapping[str, Direction], messages: MessageTable, names: Names) -> list[str]:
    """Which modules were recorded in one direction only."""
    spoken_to = {message.link.key for message in messages if not message.link.functional}
    if spoken_to and spoken_to <= set(half) and len(set(half.values())) == 1:
        said = "requests" if Direction.REQUEST in half.values() else "answers"
        return [f"only {said} are in it: the other direction is missing"]
    return [
        f"of {_called(key, names)} only {'requests' if way is Direction.REQUEST else 'answers'} are in it"
        for key, way in half.items()
    ]


def _beginnings(exchanges: Sequence[Exchange], names: Names) -> list[str]:
    """Acts of which only a later part was recorded."""
    return [
        f"the beginning of {cut.what} is not in it ({_called(cut.exchange.link.key, names)})"
        for cut in cut_beginnings(exchanges)
    ]


def _missing(missing: Sequence[Missing]) -> list[str]:
    """Steps in the middle that must have been there."""
    more = f" (and {len(missing) - 1} more like it)" if len(missing) > 1 else ""
    return [f"frames are missing: {missing[0].said}{more}"] if missing else []


def _stalls(stalls: Sequence[Stall]) -> list[str]:
    """Pauses inside messages."""
    more = f" (and {len(stalls) - 1} more like it)" if len(stalls) > 1 else ""
    return [f"{stalls[0].said}{more}"] if stalls else []


def _called(key: str, names: Names) -> str:
    link = key.partition(":")[2]
    return names.label_of(link) or link


def _limited(survey: Survey, messages: MessageTable) -> list[str]:
    summary = survey.summary
    reasons = []
    if summary.logger_drops:
        reasons.append(f"the logger says that it lost frames ({counted(len(summary.drops), 'time')})")
    if summary.damaged_lines and summary.damaged_lines * POOR_DAMAGE <= summary.lines:
        reasons.append(f"{counted(summary.damaged_lines, 'line')} cannot be read")
    if summary.out_of_order:
        reasons.append(f"the clock runs backwards {counted(summary.out_of_order, 'time')} on a channel")
    if summary.time_kind is TimeKind.NONE:
        reasons.append("it has no time stamps: order only")
    if len(summary.repeated_lines):
        reasons.append(f"recorded twice: {counted(len(summary.repeated_lines), 'frame')}")
    gaps = sum(1 for message in messages if lacks_frames(message))
    if gaps:
        reasons.append(f"frames are missing inside {counted(gaps, 'message')}")
    again = sum(1 for message in messages if any(one.rule == REPEATED for one in message.anomalies))
    if again:
        reasons.append(f"frames stand twice inside {counted(again, 'message')}")
    inside = _begins_inside(messages)
    if inside:
        reasons.append(inside)
    return reasons


def _good(survey: Survey, messages: MessageTable, *, is_missing: bool) -> list[str]:
    summary = survey.summary
    reasons = []
    directions = {message.direction for message in messages if not message.link.functional}
    if len(directions) == 2:
        reasons.append("requests and answers are both in it")
    if summary.is_doubled:
        reasons.append("nearly every frame was recorded twice and is counted once")
    if not summary.damaged_lines:
        reasons.append("every line is readable")
    if not is_missing and not summary.logger_drops and not any(lacks_frames(message) for message in messages):
        reasons.append("no loss is noted")
    if summary.error_frames:
        reasons.append(f"{summary.error_frames} error frames on the bus")
    return reasons


def _begins_inside(messages: MessageTable) -> str:
    first = messages[0] if len(messages) else None
    if first is not None and first.reason == "starts-inside":
        return "it begins inside a message"
    return ""
