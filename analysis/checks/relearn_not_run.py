"""A learn routine was not run.

What is seen: the job sheet asks for a learn routine, the module was programmed, and the routine is not in the
captures.
What it can mean: It may have been forgotten, or be meant to happen later, while driving.
How to tell it from look-alikes: a routine that was started and did not end well: that is told by its word; a capture
that stops before it
What to try: run the routine as the service information prescribes, and capture its result
Caution: learn routines and tests move parts, build pressure or start the engine. Chock the vehicle, keep people
away, mind high voltage, follow the vehicle maker's service information.
Evidence: the last that is heard of the module. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.asked import came_far, last_heard
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Kind
from analysis.words import Confidence, Severity
from canlog.services.identifiers import identifier_text


@check("relearn-not-run", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for asked, story in came_far(ctx):
        run = {
            str(item.details["identifier"]) for item in ctx.standing(Kind.ROUTINE) if item.link.key == story.link.key
        }
        missing = [identifier_text(one) for one in asked.learn if identifier_text(one) not in run]
        if missing:
            text = (
                f"{story.label}: learn routine {', '.join(missing)} is asked for by the job sheet, and was not started."
            )
            yield Seen(Confidence.MEDIUM, last_heard(ctx, story), text)
