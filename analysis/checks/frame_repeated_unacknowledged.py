"""One frame again and again: nobody acknowledges it.

What is seen: the same frame of a conversation stands many times in a row, each at once behind the one before, and
nothing but error frames between them.
What it can mean: The sender is alone on its line: the line or a connector is interrupted; the other side has lost its
supply; the nodes that are left have another line speed.
How to tell it from look-alikes: a request that a program repeats: then a pause stands before each one; a capture in
which every frame stands twice: then others stand between; a cyclic message, which keeps its period
What to try: check plug, line and termination between the two (about 60 ohm with the power off), and the supply and
fuse of the one that does not answer, before any new attempt
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the first and the last of the frames. Source: ISO 11898-1, acknowledgement and fault confinement (M).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.checks.registry import Context, Seen, check
from analysis.record import CaptureRecord
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import counted, lasting
from canlog.isotp.addressing import Direction
from canlog.isotp.messages import Repeated


@check("frame-repeated-unacknowledged", severity=Severity.SERIOUS, comes_first=True)
def find(ctx: Context) -> Iterator[Seen]:
    labels = {story.link.key: story.label for story in ctx.record.stories}
    for capture in ctx.record.captures:
        for run in capture.messages.repeats:
            errors = _errors_in(capture, run)
            who = labels.get(run.link.key, run.link.key)
            way = f"a frame of the tester to {who}" if run.direction is Direction.REQUEST else f"a frame of {who}"
            also = f", with {counted(errors, 'error frame')} among them" if errors else ""
            text = f"{run.frames} times in {lasting(run.end_ns - run.begin_ns)} {way}, and nothing in between{also}."
            shown = Evidence(capture.number, (run.first_line, run.last_line), f"the same frame, {run.frames} times")
            yield Seen(Confidence.HIGH if errors else Confidence.MEDIUM, (shown,), text)


def _errors_in(capture: CaptureRecord, run: Repeated) -> int:
    lines = capture.survey.summary.error_lines
    return int(np.count_nonzero((lines >= run.first_line) & (lines <= run.last_line)))
