"""A value reads differently from what was written.

What is seen: a write was accepted, and a later reading of the same identifier shows other bytes.
What it can mean: The module may have scaled or cut the value; it may not have stored it; only a part may have been
written.
How to tell it from look-alikes: a value that reads as before the write, or that was right until a restart; fields that
the module changes itself (a counter, a date, a check): names can have them ignored
What to try: compare the two values byte by byte; write it again, with the store step and the key-off wait the
service information asks for; read it after an ignition cycle
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the write and the reading. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from analysis.checks.looking.written_values import Fate, lost_writes, see_lost
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Operation, Part
from analysis.words import Severity


@check("trims-read-back-differs", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        for lost in lost_writes(ctx, story, Fate.DIFFERS):
            step = _step(story.label, lost.write)
            end = " It was read as written before." if lost.right is not None else ""
            yield replace(see_lost(ctx, story, lost, end), step=step)


def _step(label: str, write: Operation) -> str:
    """A VIN is on no part's label, and some modules take it only once."""
    identifier = write.details["identifier"]
    if write.part is Part.VIN:
        return (
            f"compare {identifier} of {label} with the plate on the vehicle, and look up whether the module takes a "
            f"VIN once more before it is written again"
        )
    return (
        f"compare {identifier} with the label on the part, write it to {label} once more, wait as the service "
        f"information asks, cycle the ignition and read it"
    )
