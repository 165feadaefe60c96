"""The line speed was changed, and then nothing could be read.

What is seen: tester and module agreed on another line speed (87), and no answer is in the record behind it.
What it can mean: The recorder most likely stayed at the old speed: the session may have gone on and be in order.
How to tell it from look-alikes: a module that fell silent: then there was no change of speed
What to try: capture again with a recorder that takes the new speed, or read the result in another capture afterwards
Caution: none
Evidence: the change of speed. Source: ISO 14229-1:2020, 10.9 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Answer, Exchange
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity
from canlog.services.dialects import UDS

#: LinkControl, and its sub-function that makes the change.
LINK_CONTROL, TRANSITION = 0x87, 0x03


@check("line-speed-changed", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for change in filter(_changes_speed, ctx.record.exchanges):
        behind = [
            item
            for item in ctx.record.exchanges
            if item.begin > change.end and item.capture == change.capture and item.link.channel == change.link.channel
        ]
        if not any(item.response is not None or item.pendings for item in behind):
            text = f"{change.link.channel}: nothing is heard behind the change of speed in line {change.begin[1]}."
            yield Seen(Confidence.MEDIUM, (evidence(change, "the change of speed"),), text)


def _changes_speed(exchange: Exchange) -> bool:
    if exchange.dialect != UDS or exchange.service != LINK_CONTROL or len(exchange.told) < 2:
        return False
    return exchange.told[1] & 0x7F == TRANSITION and exchange.outcome in (Answer.POSITIVE, Answer.SUPPRESSED)
