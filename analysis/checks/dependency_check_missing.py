"""Several parts were downloaded and nobody asked whether they fit.

What is seen: two or more parts were downloaded to a module, and the check that they fit together (FF01) is not in
the capture.
What it can mean: This maker does not use it; or it was left out, and the module may stay in its boot loader.
How to tell it from look-alikes: a check under a maker's own number: names tell
What to try: look at what the module answers after its reset
Caution: none
Evidence: the ends of the downloads. Source: ISO 14229-1:2020, annex F (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import parts, routine_calls
from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Evidence, Severity
from canlog.services.dialects import UDS


@check("dependency-check-missing", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        done = [item for item in parts(ctx, story) if item.details["ended"]]
        if len(done) < 2 or story.own[0].dialect != UDS:
            continue  # the older dialects have no such check
        if any(call.kind == "dependencies" for call in routine_calls(ctx, story)):
            continue
        shown = tuple(Evidence(item.end[0], (item.end[1],), "a part ends here") for item in done)
        yield Seen(Confidence.MEDIUM, shown, f"{story.label}: {len(done)} parts, and no check that they fit together.")
