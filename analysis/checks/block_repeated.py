"""A block was sent twice.

What is seen: two blocks in a row have the same counter and the same bytes.
What it can mean: A repeat after a lost answer, which the standard allows: the module takes it once, and it is
counted once here.
How to tell it from look-alikes: frames that the logger recorded twice: then the answers stand twice as well
What to try: nothing, if the download is proved
Caution: none
Evidence: both blocks. Source: ISO 14229-1:2020, 15.4 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import attempts, neighbours, place_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity


@check("block-repeated", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story, attempt, _ in attempts(ctx):
        for before, block in neighbours(attempt):
            if before.asked and before.asked == block.asked:
                text = f"{place_of(story, attempt)}: block {block.asked[1]:02X} stands twice."
                shown = (evidence(before, "the first time"), evidence(block, "the second time"))
                yield Seen(Confidence.HIGH, shown, text)
