"""The blocks are shorter than the module allows.

What is seen: every block but the last is clearly shorter than the block length that the module gave.
What it can mean: Tester or adapter may have a limit of their own; the file may be made of short records. It is
slower, not wrong.
How to tell it from look-alikes: a last block, which is short by nature
What to try: leave it as it is where the time does not matter; longer blocks shorten the time without a supply problem
Caution: none
Evidence: the answer with the length, and the first block. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import attempts, block_length, place_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Kind, evidence, of_answer
from analysis.words import Confidence, Severity

#: A block that fills less of the allowed length counts as short, from so many of them on (our choice).
FULL_PERCENT = 90
FEW = 4


@check("blocks-shorter-than-allowed", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story, attempt, _ in attempts(ctx):
        allowed = block_length(attempt)
        lengths = [block.request.length for block in attempt.blocks[:-1] if block.request is not None]
        if not allowed or attempt.request is None or attempt.kind is Kind.UPLOAD or len(lengths) < FEW:
            continue
        if 100 * max(lengths) < FULL_PERCENT * allowed:
            text = f"{place_of(story, attempt)}: blocks of up to {max(lengths)} bytes, {allowed} allowed."
            shown = (
                of_answer(attempt.request, f"allows {allowed} bytes"),
                evidence(attempt.blocks[0], "the first block"),
            )
            yield Seen(Confidence.HIGH, shown, text)
