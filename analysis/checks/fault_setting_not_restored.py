"""The storing of faults is still switched off.

What is seen: the storing of faults was switched off (85 02) and never switched on again, and nothing that ends it
is in the capture.
What it can mean: The capture ends too early; or it was forgotten. It ends with the session.
How to tell it from look-alikes: a capture that ends in the middle of the job: then it is not due yet
What to try: switch it on again (85 01), or cycle the ignition
Caution: none
Evidence: the request. Source: ISO 14229-1:2020, 10.8 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.quiet_orders import left_off
from analysis.checks.looking.refusals import asked
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity


@check("fault-setting-not-restored", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for exchange in left_off(ctx, 0x85, off=(2,)):
        text = f"{asked(exchange)} to {exchange.link.key}, and nothing behind it that ends it."
        yield Seen(Confidence.MEDIUM, (evidence(exchange, "switched off here"),), text)
