"""A block was answered with the counter of another one.

What is seen: the answer to a block repeats another counter than the block has.
What it can mean: Frames between the two may be missing in the record; two testers may be sending blocks; the module
may be at fault.
How to tell it from look-alikes: a block that is missing in the record: then its answer stands there alone, and the
block before it has its own
What to try: look at the blocks around it; trust the download only if the module's own check passed
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the block and the answer. Source: ISO 14229-1:2020, 15.4 (M).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Exchange
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity
from canlog.services.traits import Act, BlockCounter, traits_of


@check("block-answer-differs", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        blocks = [item for item in ctx.own(story) if item.act is Act.BLOCK]
        for asked, answer in pairwise(blocks):
            if _is_other_counter(asked, answer):
                text = f"{story.label}: block {asked.asked[1]:02X} was answered as block {answer.answered[1]:02X}."
                shown = (evidence(asked, "the block"), evidence(answer, "the answer behind it"))
                yield Seen(Confidence.MEDIUM, shown, text)


def _is_other_counter(asked: Exchange, answer: Exchange) -> bool:
    """A block without its answer, then at once an answer without its block, of another counter."""
    if traits_of(asked.dialect).block_counter is not BlockCounter.ALWAYS or asked.capture != answer.capture:
        return False
    if asked.response is not None or answer.request is not None or not answer.positive:
        return False
    return len(asked.asked) > 1 and len(answer.answered) > 1 and asked.asked[1] != answer.answered[1]
