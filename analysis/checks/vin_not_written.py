"""The VIN was not written.

What is seen: the job sheet asks for the VIN to be written; the module was programmed; the VIN was not written, and no
reading shows one.
What it can mean: It may have been forgotten; some modules learn the VIN from the bus; it may have been written before
the capture.
How to tell it from look-alikes: a VIN of another vehicle; a write that was refused
What to try: read the VIN of every module; write it as the service information says, and read it after an ignition
cycle
Caution: the VIN is protected by law in many places. Write only the VIN of this vehicle.
Evidence: the last VIN read, or the last that is heard of the module. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.asked import came_far, last_heard
from analysis.checks.looking.unit_values import writes_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Part, evidence
from analysis.readings import Reading
from analysis.story import Story
from analysis.words import Confidence, Severity
from canlog.names.vin import is_blank


@check("vin-not-written", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for asked, story in came_far(ctx):
        if asked.vin != "write" or writes_of(ctx, story, Part.VIN):
            continue
        last = _last_vin(ctx, story)
        if last is None or is_blank(last.raw):
            now = "and is not shown" if last is None else "and is empty"
            shown = last_heard(ctx, story) if last is None else (evidence(last.exchange, "the last VIN"),)
            yield Seen(Confidence.HIGH, shown, f"{story.label}: the VIN was not written, {now}.")


def _last_vin(ctx: Context, story: Story) -> Reading | None:
    return next((item for item in reversed(ctx.record.readings(story)) if item.kind == "vin"), None)
