"""A block is longer than the module allows.

What is seen: a block of data is longer than the block length that the module gave in its answer to the request. The
length counts the whole request, service and counter included.
What it can mean: The tester may not look at that length, or take it for the length of the data alone. The module may
accept it all the same; mostly it refuses the block (code 13 or 71).
How to tell it from look-alikes: a block for which the module has no room: it says so with flow control
What to try: see what the module answered to the longer blocks; if it refused them, have the tester keep to the length
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the answer with the length, and the blocks. Source: ISO 14229-1:2020, 15.2 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import attempts, block_length, place_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.download import OVERFLOW
from analysis.operations.model import evidence, of_answer
from analysis.words import Confidence, Severity
from canlog.counting import counted


@check("block-longer-than-allowed", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story, attempt, replaced in attempts(ctx):
        allowed = block_length(attempt)
        sent = [block for block in attempt.blocks if block.request is not None and block.request.reason != OVERFLOW]
        longer = [block for block in sent if block.request and allowed and block.request.length > allowed]
        if not longer or attempt.request is None:
            continue
        longest = max(block.request.length for block in longer if block.request is not None)
        text = (
            f"{place_of(story, attempt)}: {counted(len(longer), 'block')} of up to {longest} bytes, {allowed} allowed."
        )
        shown = (of_answer(attempt.request, f"allows {allowed} bytes"), *(evidence(one, "longer") for one in longer))
        mild = replaced or all(block.positive for block in longer)
        yield Seen(Confidence.HIGH, shown, text, severity=Severity.NOTE if mild else None)
