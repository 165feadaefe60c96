"""The recording stands still in the middle of a step.

What is seen: no frame of any id for ten seconds or more, and behind it the step goes on as if nothing had been.
What it can mean: The recorder or its computer paused and lost what was on the bus; its clock was set forward.
How to tell it from look-alikes: the supply or the ignition was lost: then the step does not go on; a tester that
waits: then other ids are heard
What to try: record again, without sleep mode of the recording computer, where a word is not confirmed; take no time
across the gap for true
Caution: none
Evidence: the lines on both sides. Source: S3 5 s, ISO 14229-2 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import lasting


@check("record-gap", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for capture in ctx.record.captures:
        for gap in capture.gaps:
            shown = Evidence(capture.number, (gap.from_line, gap.to_line), "the last frame before, the first behind")
            text = f"{capture.name}: no frame of any id for {lasting(gap.length_ns)}, and the step goes on behind it."
            yield Seen(Confidence.HIGH, (shown,), text)
