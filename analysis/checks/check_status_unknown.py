"""A check was answered, and nothing says what the status means.

What is seen: a routine behind the download answered with a status that no names file explains.
What it can mean: Status 00 for good is a wide custom, not the standard's.
How to tell it from look-alikes: a check that names call good or bad: there the word is settled
What to try: add the routine and its statuses to a names file; compare with the same routine in a session known to
be good
Caution: none
Evidence: the answers. Source: ISO 14229-1:2020, 14 (M): the status record is the maker's.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import routine_calls
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.operations.routines import Status
from analysis.words import Confidence, Severity
from canlog.services.traits import Act


@check("check-status-unknown", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        ended = [item for item in ctx.own(story) if item.act in (Act.BLOCK, Act.EXIT) and item.positive]
        open_ones = [
            call
            for call in routine_calls(ctx, story)
            if call.status is Status.UNKNOWN
            and call.status_bytes
            and call.kind not in ("erase", "learn")
            and ended
            and call.exchange.begin > ended[0].end
        ]
        if open_ones:
            texts = dict.fromkeys(f"{call.said} status {call.status_bytes.hex().upper()}" for call in open_ones)
            shown = tuple(evidence(call.exchange, f"{call.said}: {call.text}") for call in open_ones)
            yield Seen(Confidence.HIGH, shown, f"{story.label}: {', '.join(texts)}.")
