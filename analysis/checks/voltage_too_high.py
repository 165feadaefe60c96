"""The module says that its supply is too high.

What is seen: a request was refused for good with code 92.
What it can mean: The charger is in a boost or recovery mode; it is set for another system voltage; the engine runs.
How to tell it from look-alikes: condition not met without a reason (code 22): a voltage reading close by tells the
two apart
What to try: lower the support voltage to what the service information asks for
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the refusals. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import see_refusals
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity


@check("voltage-too-high", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, {0x92})
