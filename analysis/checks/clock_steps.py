"""The clock of the recording runs backwards.

What is seen: stamps of one channel step back.
What it can mean: The clock was set while recording; files were joined; frames stand in another order than they were
on the bus.
How to tell it from look-alikes: several channels in one file, each in order for itself
What to try: take no time across the step for true, and no order either where work was done on both sides of it;
record again where a word is not confirmed
Caution: none
Evidence: the lines of the steps. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.limits import MS_NS, SECOND_NS
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import counted

#: Smaller steps are rounding.
ROUNDING_NS = 1 * MS_NS


@check("clock-steps", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for capture in ctx.record.captures:
        steps = [step for step in capture.survey.summary.clock_steps if step.size_ns > ROUNDING_NS]
        if not steps:
            continue
        largest = max(step.size_ns for step in steps)
        shown = tuple(
            Evidence(capture.number, (step.line,), f"back by {step.size_ns / SECOND_NS:.3f} s") for step in steps
        )
        text = f"{capture.name}: {counted(len(steps), 'step')} back, the largest {largest / SECOND_NS:.3f} s."
        yield Seen(Confidence.HIGH, shown, text)
