"""A message stood still for a second or more.

What is seen: inside one message the next frame, or the flow control that releases it, came 1 s or more after it was
due; then the message went on.
What it can mean: The tester's computer or its adapter stalled; the bus was blocked by errors; the recorder paused.
How to tell it from look-alikes: a recorder that paused: the other traffic of the bus is missing in that time as well
What to try: another adapter and cable; end other programs and the sleep mode of the tester's computer
Caution: none
Evidence: the frame that came late. Source: N_Bs and N_Cr, ISO 15765-2:2016, 9.8 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import counted
from canlog.isotp.messages import Anomaly

STOOD_STILL = {"stall": "the next frame", "flow-control-late": "flow control"}


@check("stall-inside-message", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    found: dict[str, list[tuple[int, Anomaly]]] = {}
    for item in ctx.record.captures:
        for message in item.messages:
            for anomaly in message.anomalies:
                if anomaly.rule in STOOD_STILL:
                    found.setdefault(message.link.key, []).append((item.number, anomaly))
    labels = {story.link.key: story.label for story in ctx.record.stories}
    for key, stalls in found.items():
        shown = tuple(Evidence(capture, (one.line,), f"{STOOD_STILL[one.rule]}: {one.text}") for capture, one in stalls)
        yield Seen(
            Confidence.MEDIUM, shown, f"{labels.get(key, key)}: {counted(len(stalls), 'time')} a message stood still."
        )
