"""Modules are still told to keep quiet.

What is seen: messages were switched off (28 in every dialect) and never allowed again, and nothing that ends
it is in the capture.
What it can mean: The capture ends too early; or it was forgotten. In most modules it ends by itself when the
session falls back.
How to tell it from look-alikes: a capture that ends in the middle of the job: then it is not due yet
What to try: allow messages again ({messages}), or cycle the ignition, and see that
cyclic messages are back
Caution: a safety function may be off while a module keeps quiet. Do not drive before the messages are back.
Evidence: the request. Source: ISO 14229-1:2020, 10.5 (M); ISO 14230-3 (M); GMW3110 1.6 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.quiet_orders import left_off, who_is_under
from analysis.checks.looking.refusals import asked
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity
from canlog.services.traits import orders_quiet


@check("communication-not-restored", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for exchange in left_off(ctx, orders_quiet):
        who = who_is_under(ctx, exchange, orders_quiet)
        text = f"{asked(exchange)} to {who}, and nothing behind it that ends it."
        yield Seen(Confidence.MEDIUM, (evidence(exchange, "switched off here"),), text)
