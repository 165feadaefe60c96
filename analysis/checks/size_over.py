"""More bytes were carried than asked for.

What is seen: the transfer was ended well, and the bytes of its blocks are more than its request said.
What it can mean: The last block was filled up; blocks counted twice; two downloads run together.
How to tell it from look-alikes: repeated blocks, which count once; compressed or encrypted data
What to try: look at the tail of the last block: one value throughout is filling; let the module's own check decide
Caution: none
Evidence: the request and the exit. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import attempts, place_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity
from canlog.counting import counted


@check("size-over", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story, attempt, replaced in attempts(ctx):
        account, size = attempt.account, attempt.size
        if attempt.ended is None or attempt.transformed or size is None or account.problems or not account.seen_whole:
            continue
        if attempt.request is None or account.carried <= size:
            continue
        text = f"{place_of(story, attempt)}: {counted(account.carried, 'byte')} carried, {size} asked for."
        shown = (evidence(attempt.request, f"asks for {counted(size, 'byte')}"), evidence(attempt.ended, "ended"))
        yield Seen(Confidence.MEDIUM, shown, text, severity=Severity.NOTE if replaced else None)
