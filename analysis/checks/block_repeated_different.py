"""The same block number came twice with other bytes.

What is seen: two blocks in a row have the same counter and different bytes.
What it can mean: Two recordings were joined; a frame was lost and the message rebuilt wrongly; or exactly 256
blocks are missing.
How to tell it from look-alikes: a legal repeat: its bytes are the same
What to try: do not trust the image in this capture; rely on the module's own check, else program the part again
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: both blocks. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import attempts, counter_of, neighbours, place_of
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Exchange
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity


@check("block-repeated-different", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story, attempt, replaced in attempts(ctx):
        for before, block in neighbours(attempt):
            same_counter = counter_of(before) == counter_of(block) is not None
            if not same_counter or not _whole(before) or not _whole(block) or before.asked == block.asked:
                continue
            text = f"{place_of(story, attempt)}: block {block.asked[1]:02X} came twice with different bytes."
            shown = (evidence(before, "the first time"), evidence(block, "the second time"))
            yield Seen(Confidence.MEDIUM, shown, text, severity=Severity.NOTE if replaced else None)


def _whole(block: Exchange) -> bool:
    return block.request is not None and block.request.complete
