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

from analysis.checks.looking.transfers import wrong_echoes
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity


@check("block-answer-differs", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        for asked, answer in wrong_echoes(ctx, story):
            text = f"{story.label}: block {asked.asked[1]:02X} was answered as block {answer.answered[1]:02X}."
            shown = (evidence(asked, "the block"), evidence(answer, "the answer behind it"))
            yield Seen(Confidence.MEDIUM, shown, text)
