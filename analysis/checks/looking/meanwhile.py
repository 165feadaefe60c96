"""What vehicle and engine did while a memory was written, seen as one finding a module."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from analysis.checks.registry import Context, Seen
from analysis.motion import PROGRAMMING, Meanwhile, Moved, meanwhile
from analysis.operations.model import evidence
from analysis.words import Confidence, Evidence, Severity


def see_meanwhile(ctx: Context, moved: Moved, said: str, in_writes: Severity) -> Iterator[Seen]:
    """One sighting a module: ``said`` tells it, ``in_writes`` is how bad it is where values alone were written."""
    found = [one for one in meanwhile(ctx.record, ctx.operations) if one.moved is moved]
    for label, same in groupby(sorted(found, key=lambda one: one.operation.label), lambda one: one.operation.label):
        seen = list(same)
        is_programming = any(one.operation.kind in PROGRAMMING for one in seen)
        worst = max(seen, key=lambda one: (one.operation.kind in PROGRAMMING, max(m.value for m in one.moments)))
        what = "was programmed" if is_programming else "was written to"
        text = f"While {label} {what}, {said}: {worst.course.signal.name} {worst.values}".rstrip()
        shown = dict.fromkeys(place for one in [worst, *seen] for place in _shown(ctx, one))
        yield Seen(Confidence.MEDIUM, tuple(shown), f"{text}.", severity=None if is_programming else in_writes)


def _shown(ctx: Context, one: Meanwhile) -> tuple[Evidence, ...]:
    what = "programmed" if one.operation.kind in PROGRAMMING else "written to"
    return one.evidence, evidence(ctx.act(one.operation), f"{one.operation.label} is {what}")
