"""The module gave a seed of zeros.

What is seen: every byte of a seed is 00.
What it can mean: The module is unlocked at this level already: so the standard says it. If a later step is refused
with code 33, the level may not be used in this module.
How to tell it from look-alikes: a seed of FF, which may come from empty security data
What to try: go on without a key; if the next step is refused with code 33, ask for the level that the service
information names
Caution: none
Evidence: the seeds. Source: ISO 14229-1:2020, 10.4 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.seeds import seeds
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity

LOCKED = 0x33


@check("seed-all-zero", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        zero = [item for item in seeds(ctx, story) if not any(item.seed)]
        if zero:
            locked = [one for one in ctx.own(story) if one.nrc == LOCKED and one.begin > zero[0].exchange.begin]
            end = " A later step was refused as locked: it was no real unlocking." if locked else ""
            shown = tuple(evidence(item.exchange, f"level {item.level:02X}") for item in zero)
            refused = tuple(evidence(one, "refused as locked") for one in locked[:1])
            yield Seen(Confidence.HIGH, (*shown, *refused), f"{story.label}: level {zero[0].level:02X}.{end}")
