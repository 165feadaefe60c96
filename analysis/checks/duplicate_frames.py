"""Every frame was recorded twice.

What is seen: nearly every frame stands twice in the recording.
What it can mean: Both sides of a gateway were recorded, or the logger also heard its own copy, or two recordings
were joined. Each frame is counted once.
How to tell it from look-alikes: a block that the tester repeated: there only that message stands twice
What to try: nothing; record one side only, next time
Caution: none
Evidence: the beginning of the recording. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import counted


@check("duplicate-frames", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for capture in ctx.record.captures:
        summary = capture.survey.summary
        if summary.is_doubled:
            text = (
                f"{capture.name}: {100 * summary.doubled:.0f} % of its {counted(summary.frames, 'frame')} stand twice."
            )
            yield Seen(Confidence.HIGH, (Evidence(capture.number, (1, 2), "from here on"),), text)
