"""Two downloads of one job overlap in memory.

What is seen: two downloads to different ranges of one module were both carried to their end, and share addresses.
What it can mean: A later part may be meant to replace a corner of an earlier one; the address or size of one of them
may be wrong; the files may not belong together.
How to tell it from look-alikes: the same range sent again after a failure: a repeat
What to try: rebuild the memory with canlog image and compare it with the firmware file
Caution: none
Evidence: both requests. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from analysis.checks.looking.transfers import attempts_at
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Exchange
from analysis.operations.attempts import Attempt
from analysis.operations.model import Kind, evidence
from analysis.words import Confidence, Severity


@check("ranges-overlap", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        done = [item for item in attempts_at(ctx, story) if item.kind is not Kind.UPLOAD and item.ended and item.size]
        for one, other in combinations(done, 2):
            if one.memory == other.memory or one.address is None or other.address is None or not one.same_thing(other):
                continue
            if one.request is not None and other.request is not None:
                shown = tuple(evidence(item, f"asks for {_said(at)}") for at, item in _requests(one, other))
                yield Seen(Confidence.MEDIUM, shown, f"{story.label}: {_said(one)} and {_said(other)}.")
                break


def _requests(one: Attempt, other: Attempt) -> Iterator[tuple[Attempt, Exchange]]:
    for attempt in (one, other):
        if attempt.request is not None:
            yield attempt, attempt.request


def _said(attempt: Attempt) -> str:
    return f"{attempt.memory.start:08X}-{attempt.memory.stop - 1:08X}"
