"""A message was cut off by the next one.

What is seen: a sender began a new message before all bytes of the one before had been sent, and nobody answered the
first as if it were whole.
What it can mean: The sender may have given up and begun again; two testers may send on one id; the rest of the
message may be missing in the record.
How to tell it from look-alikes: frames that only the recorder lost: then the receiver answers the message as if it
were whole
What to try: look whether the new message is the same again; see which of them was answered; look for a second tester
Caution: none
Evidence: the messages that were cut off. Source: unexpected arrival of N_PDU, ISO 15765-2:2016, 9.8.3 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.broken_messages import broken, see_broken
from analysis.checks.looking.holes import has_gap
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity

CUT_OFF = frozenset({"cut-off-by-single", "cut-off-by-first"})


@check("transfer-cut-by-new-message", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    accepted = {id(item.request) for item in ctx.record.exchanges if item.positive}
    found = (item for item in broken(ctx, CUT_OFF) if id(item[1]) not in accepted and not has_gap(item[1]))
    yield from see_broken(ctx, found, "cut off by the next one")
