"""A value was right, and behind the restart it is not.

What is seen: a written value was read back as written; behind a restart it reads otherwise.
What it can mean: It may have been in working memory only, because a store step or a proper power-down is missing;
power may have been taken away while it was stored; it may have been written in the wrong session.
How to tell it from look-alikes: a write that was never taken: then no reading shows the new value
What to try: write it again with the store step and the key-off wait of the service information; read it after an
ignition cycle
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the write, the reading that was right, and the last one. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.written_values import Fate, lost_writes, see_lost
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity


@check("trims-lost-after-reset", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        for lost in lost_writes(ctx, story, Fate.LOST):
            yield see_lost(ctx, story, lost, " It was right before the restart.")
