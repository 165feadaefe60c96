"""Fewer bytes were carried than asked for.

What is seen: the transfer was ended well, and the bytes of its blocks are fewer than its request said.
What it can mean: The tester ended early and the module did not mind; the size counts fill bytes.
How to tell it from look-alikes: compressed or encrypted data, whose sizes cannot be compared; frames lost in the
record
What to try: compare with the file; let the module's own check decide
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the request and the exit. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import attempts, place_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity
from canlog.counting import counted


@check("size-short", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story, attempt, replaced in attempts(ctx):
        account, size = attempt.account, attempt.size
        if attempt.ended is None or attempt.transformed or size is None or account.problems or not account.seen_whole:
            continue
        if attempt.request is None or account.carried >= size:
            continue
        text = f"{place_of(story, attempt)}: {counted(account.carried, 'byte')} carried, {size} asked for."
        shown = (evidence(attempt.request, f"asks for {counted(size, 'byte')}"), evidence(attempt.ended, "ended"))
        yield Seen(Confidence.HIGH, shown, text, severity=Severity.NOTE if replaced else None)
