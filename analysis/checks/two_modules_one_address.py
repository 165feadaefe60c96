"""Two modules answer at one address.

What is seen: a request to one module was answered twice, with different data.
What it can mean: The old and the new module may both be connected; a copy of a module may be on the bus.
How to tell it from look-alikes: a recording in which every frame stands twice: then both answers are the same; two
testers that ask at once
What to try: find the second module and disconnect it as the service information says; read the serial number again
Caution: do not repeat blindly: wrong keys are counted, and each erase puts the module at risk. The vehicle maker's
service information decides.
Evidence: both answers. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Exchange
from analysis.operations.model import evidence
from analysis.story import Story
from analysis.trust.second_answers import second_answers
from analysis.words import Confidence, Severity
from canlog.counting import counted


@check("two-modules-one-address", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        twice = list(_answered_twice(ctx, story))
        if twice:
            shown = tuple(
                one
                for first, second in twice
                for one in (evidence(first, "the answer"), evidence(second, "another answer to the same"))
            )
            text = f"{story.label}: {counted(len(twice), 'request')} answered twice, with different data."
            yield Seen(Confidence.MEDIUM, shown, text)


def _answered_twice(ctx: Context, story: Story) -> Iterator[tuple[Exchange, Exchange]]:
    """Two values of the same; a refusal beside an answer is no second module."""
    for first, second in second_answers(ctx.own(story)):
        if first.positive and second.positive and first.answered[:3] == second.answered[:3]:
            yield first, second
