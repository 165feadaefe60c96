"""A download ended and nobody asked whether it is right.

What is seen: the transfer exit was answered well; behind it there is no check routine and no identification that
changed.
What it can mean: The module checks inside the transfer exit or at its reset; or the tester left the check out.
How to tell it from look-alikes: a capture that stops too early to show the check; a check sent on another link
What to try: read the software identification after the next ignition cycle and capture it
Caution: do not program again only because this is not proven. The vehicle maker's service information decides.
Evidence: the transfer exit. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import ended_by, parts, routine_calls
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Exchange
from analysis.operations.model import Operation, evidence
from analysis.story import Story
from analysis.words import Confidence, Severity, Word


@check("download-ended-unchecked", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        bare = [item for item in parts(ctx, story) if item.details["ended"] and item.outcome.word is Word.UNPROVEN]
        exits = [one for item in bare if (one := _exit_unchecked(ctx, story, item)) is not None]
        if exits:
            names = ", ".join(str(item.details["name"] or item.details["address"]) for item in bare)
            shown = tuple(evidence(one, "the end of the transfer, answered well") for one in exits)
            yield Seen(Confidence.HIGH, shown, f"{story.label}: downloaded, and no check was asked for: {names}.")


def _exit_unchecked(ctx: Context, story: Story, item: Operation) -> Exchange | None:
    """What ended the transfer, where no routine but erases comes behind it and the capture goes on."""
    exit_ = ended_by(ctx, story, item)
    end = ctx.end_ns(exit_.capture)
    if end is not None and end - exit_.end_ns < ctx.record.limits.tester_silent_ns:
        return None
    calls = routine_calls(ctx, story)
    return None if any(one.exchange.begin > exit_.end and one.kind != "erase" for one in calls) else exit_
