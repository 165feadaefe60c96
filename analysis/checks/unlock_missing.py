"""The module was locked.

What is seen: a step was refused for good with code 33, and nothing shows that the access it needs was granted.
What it can mean: The tester did not unlock; the module was unlocked before the capture began, and lost that; the step
needs another level than the one that was unlocked; an approval is missing.
How to tell it from look-alikes: an access that was granted and lost again: then a restart, a change of session or a
pause stands in between; a module that asks for a certificate (code 34)
What to try: unlock at the level that the service information names for this step, in the session it names; then repeat
the step
Caution: do not repeat blindly: wrong keys are counted, and each erase puts the module at risk. The vehicle maker's
service information decides.
Evidence: the refusals. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.access import locked_refusals
from analysis.checks.looking.refusals import sighting
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity


@check("unlock-missing", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        told = [(item, granted) for item, granted, end in locked_refusals(ctx, story) if not end]
        if told:
            granted = told[-1][1]
            more = (
                "" if granted is None else f" Access was granted in line {granted.begin[1]}, perhaps at another level."
            )
            yield sighting(story, [item for item, _ in told], more)
