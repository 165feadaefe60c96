"""The storing of faults is still switched off.

What is seen: the storing of faults was switched off (85; GMW3110: 10 02) and never switched on again, and nothing
that ends it is in the capture.
What it can mean: The capture ends too early; or it was forgotten. It ends with the session.
How to tell it from look-alikes: a capture that ends in the middle of the job: then it is not due yet
What to try: switch it on again ({storing}), or cycle the ignition;
then read the fault memory again
Caution: a fault that is there is not stored, and no lamp may show it. Do not drive before the faults were read again.
Evidence: the request. Source: ISO 14229-1:2020, 10.8 (M); ISO 14230-3 (M); GMW3110 1.6 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.quiet_orders import left_off, said_modules, who_is_under
from analysis.checks.looking.refusals import asked
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Exchange
from analysis.operations.model import Kind, evidence
from analysis.operations.orders import order_in_force
from analysis.words import Confidence, Severity
from canlog.services.traits import orders_no_faults


@check("fault-setting-not-restored", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for exchange in left_off(ctx, orders_no_faults):
        who = who_is_under(ctx, exchange, orders_no_faults)
        cleared = said_modules(_cleared_under_it(ctx, exchange))
        text = f"{asked(exchange)} to {who}, and nothing behind it that ends it."
        if cleared:
            text += f" Cleared and read meanwhile: {cleared}. A fault that is there would not be listed."
        severity = None if cleared else Severity.NOTE
        yield Seen(Confidence.MEDIUM, (evidence(exchange, "switched off here"),), text, severity=severity)


def _cleared_under_it(ctx: Context, order: Exchange) -> list[str]:
    """Modules whose fault memory was cleared while the order was in force."""
    clears = [(item, ctx.record.story(item.link.key)) for item in ctx.standing(Kind.CLEAR)]
    under = (
        (item, order_in_force(story, ctx.act(item).begin, orders_no_faults))
        for item, story in clears
        if story is not None
    )
    return [item.label for item, now in under if now is not None and now.number == order.number]
