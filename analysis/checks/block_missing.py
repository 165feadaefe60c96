"""A block is missing.

What is seen: the counter of the blocks skips a value.
What it can mean: The logger lost it and the module was content; the tester left it out; the capture was cut.
How to tell it from look-alikes: a loss in the record only: the answer to the missing block is there, or the
module's own check passed; a legal repeat of a block
What to try: trust the download only if the module's own check passed; else program the part again
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the blocks on both sides of the gap. Source: ISO 14229-1:2020, 15.4 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import attempts, counter_of, neighbours, place_of, wrong_echoes
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity


@check("block-missing", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story, attempt, replaced in attempts(ctx):
        echoes = {answer.number for _, answer in wrong_echoes(ctx, story)}
        for before, block in neighbours(attempt):
            if {before.number, block.number} & echoes:
                continue  # an answer, no block
            here, there = counter_of(before), counter_of(block)
            if here is None or there is None or (there - here) & 0xFF in (0, 1):
                continue
            text = f"{place_of(story, attempt)}: block {there:02X} follows block {here:02X}."
            shown = (evidence(before, f"block {here:02X}"), evidence(block, f"block {there:02X}"))
            yield Seen(Confidence.MEDIUM, shown, text, severity=Severity.NOTE if replaced else None)
