"""A write was accepted and not taken.

What is seen: a write was accepted, and a later reading shows the value from before it.
What it can mean: It may need a restart to take effect; the module may ignore it in silence; the value may be
protected or be written once only. Where it was read only behind a restart, it may have been lost there.
How to tell it from look-alikes: a value that was right and was lost at a restart; another value than the old or the
new one
What to try: read it again after an ignition cycle; ask the service information for the session, access and store step
of this value
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the write and the reading. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.written_values import Fate, lost_writes, see_lost
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity


@check("write-not-taken", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        for lost in lost_writes(ctx, story, Fate.NOT_TAKEN):
            yield see_lost(ctx, story, lost, " That is the value from before.")
