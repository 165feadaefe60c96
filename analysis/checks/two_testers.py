"""Two testers talk to one module.

What is seen: one module is asked from two addresses.
What it can mean: A second device is plugged in: a telematics unit, a logger that sends, another tester. It may
change session, access or answers unasked.
How to tell it from look-alikes: one tester that asks again after no answer: same address, same request
What to try: remove the second device; do the job again where a word is not confirmed
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the first request from each address. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.operations.find import modules_with_two_testers
from analysis.operations.model import evidence
from analysis.story import Story, module_id
from analysis.words import Confidence, Severity
from canlog.counting import counted


@check("two-testers", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    keys = set(modules_with_two_testers(ctx.record))
    stories = [story for story in ctx.stories if story.link.key in keys]
    for label in dict.fromkeys(_module(story) for story in stories):
        here = [story for story in stories if _module(story) == label]
        firsts = tuple(evidence(ctx.own(story)[0], f"asked on {story.link.key}") for story in here)
        counts = ", ".join(f"{story.link.key} ({counted(len(ctx.own(story)), 'exchange')})" for story in here)
        name = next((story.label for story in here if story.named), "One module")
        yield Seen(Confidence.HIGH, firsts, f"{name} is asked on {counts}.")


def _module(story: Story) -> tuple[str, int]:
    return story.link.channel, module_id(story.link.key)
