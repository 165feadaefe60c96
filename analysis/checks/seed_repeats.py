"""The same seed was given twice.

What is seen: two requests for a seed of one level were answered with the same seed, and no key was accepted between
them.
What it can mean: Many modules keep a seed until a key comes, which is normal. Some have one seed that never changes.
How to tell it from look-alikes: a recording in which every frame stands twice
What to try: nothing for the repair; share no capture with seed and key in it
Caution: none
Evidence: the two answers; the seeds themselves are not shown. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from analysis.checks.looking.seeds import Seed, seeds
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.story import Story
from analysis.words import Confidence, Severity


@check("seed-repeats", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        again = [pair for pair in pairwise(seeds(ctx, story)) if _is_same(story, *pair)]
        if again:
            shown = tuple(evidence(item.exchange, f"level {item.level:02X}") for item in again[0])
            yield Seen(Confidence.MEDIUM, shown, f"{story.label}: level {again[0][0].level:02X}, the same seed twice.")


def _is_same(story: Story, first: Seed, second: Seed) -> bool:
    """Without an accepted key between them, behind which a seed is new in any case."""
    between = story.between(first.exchange.end, second.exchange.begin)
    is_same = (first.level, first.seed) == (second.level, second.seed) and any(first.seed)
    return is_same and not any(item.act is first.exchange.act and item.positive for item in between)
