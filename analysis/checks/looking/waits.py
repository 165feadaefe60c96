"""Answers that came late, where the clock of the capture is good enough to say so."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.checks.registry import Context
from analysis.story import Story
from analysis.timing import MS_NS, Wait, has_standard_values
from analysis.words import Evidence


def late_waits(ctx: Context, story: Story) -> Iterator[Wait]:
    """Waits of a module beyond what it promised, or beyond the standard where that is the measure.

    A capture whose clock runs backwards shows an order, not times.
    """
    for item in ctx.record.captures:
        if item.survey.summary.out_of_order:
            continue
        times = ctx.record.answer_times(item.number, story.link.key)
        for wait in (*times.answers, *times.pendings):
            if wait.is_late and (wait.promise.lines or has_standard_values(wait.exchange)):
                yield wait


def evidence_of(waits: Sequence[Wait], what: str) -> tuple[Evidence, ...]:
    """The waits as evidence, the longest first."""
    longest_first = sorted(waits, key=lambda wait: -wait.length_ns)
    return tuple(
        Evidence(wait.exchange.capture, wait.lines, f"{what} after {wait.length_ns // MS_NS} ms")
        for wait in longest_first
    )
