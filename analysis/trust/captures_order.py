"""How the captures of one job stand to each other in time: overlaps, gaps, and clocks that cannot be compared.

Frames of an overlap may be in both captures; what lies in a gap nobody recorded, and a gap is no power cycle.
Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.record import CaptureRecord
from analysis.trust.fitness import Fitness, Trust
from canlog.counting import lasting
from canlog.frames import TimeKind


def with_borders(records: Sequence[CaptureRecord]) -> list[CaptureRecord]:
    """The captures in their order, with what is wrong at their borders among the reasons of their fitness."""
    return [replace(one, trust=_with_reasons(one.trust, *border(records[:at], one))) for at, one in enumerate(records)]


def border(earlier: Sequence[CaptureRecord], one: CaptureRecord) -> tuple[list[str], list[str]]:
    """What limits trust in a capture that comes after others, and what has only to be known."""
    if not earlier:
        return [], []
    before = earlier[-1]
    same = next((each for each in earlier if each.capture.sha256 == one.capture.sha256), None)
    if same is not None:
        return [f"it is the same file as capture {same.number}: everything in it counts twice"], []
    if not (_is_absolute(one) and all(map(_is_absolute, earlier))):
        return [], [f"how long after capture {before.number} it begins is not known: its clock says no date"]
    first = one.survey.summary.first_time_ns
    ends = [(end, each.number) for each in earlier if (end := each.survey.summary.last_time_ns) is not None]
    if first is None or not ends:
        return [], []
    end, number = max(ends)
    if first < end:
        return [f"it overlaps capture {number} by {lasting(end - first)}: frames may be in both"], []
    return [], [f"it begins {lasting(first - end)} after capture {number}: what happened between was not recorded"]


def _is_absolute(one: CaptureRecord) -> bool:
    return one.survey.summary.time_kind is TimeKind.ABSOLUTE


def _with_reasons(trust: Trust, limiting: Sequence[str], known: Sequence[str]) -> Trust:
    fitness = Fitness.LIMITED if limiting and trust.fitness is Fitness.GOOD else trust.fitness
    return Trust(fitness, (*limiting, *trust.reasons, *known))
