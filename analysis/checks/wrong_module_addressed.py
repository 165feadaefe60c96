"""Another module was programmed than the job sheet asks for.

What is seen: a module was programmed for which the job sheet asks no programming, and one for which it does was
spoken to and not programmed.
What it can mean: The wrong module may have been chosen; the job sheet may name the wrong one.
How to tell it from look-alikes: a sheet of another vehicle or job: then nothing of it fits
What to try: read the identification of both modules before anything else is done; compare it with the job sheet
Caution: do not repeat blindly: wrong keys are counted, and each erase puts the module at risk. The vehicle maker's
service information decides.
Evidence: the downloads. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Kind, Operation, evidence
from analysis.story import module_id
from analysis.vins import other_vehicle
from analysis.words import Confidence, Severity


@check("wrong-module-addressed", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    if ctx.sheet is None or other_vehicle(ctx.sheet.vin, ctx.record):
        return
    meant = {one.label for one in ctx.sheet.modules if one.programming}
    spoken = {story.label for story in ctx.stories}
    done = [item for item in ctx.standing(Kind.DOWNLOAD) if item.part is not None and item.exchanges]
    left = sorted((meant & spoken) - {item.label for item in done})
    others = [item for item in done if item.label not in meant and not _is_meant(ctx, item)]
    for label in dict.fromkeys(item.label for item in others):
        same = [item for item in others if item.label == label]
        if left:
            shown = tuple(evidence(ctx.act(item), "the download") for item in same)
            text = f"{label} was programmed, which the job sheet does not ask for; {', '.join(left)} was not."
            yield Seen(Confidence.HIGH, shown, text)


def _is_meant(ctx: Context, item: Operation) -> bool:
    """Another tester's link to a module that is meant."""
    here = item.link.channel, module_id(item.link.key)
    labels = {story.label for story in ctx.stories if (story.link.channel, module_id(story.link.key)) == here}
    return ctx.sheet is not None and any(one.label in labels and one.programming for one in ctx.sheet.modules)
