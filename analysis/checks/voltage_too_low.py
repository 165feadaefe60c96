"""The module says that its supply is too low.

What is seen: a request was refused for good with code 93.
What it can mean: Support is missing or weak; the ground or feed of this module is bad; its own limit counts, not
the battery's voltage.
How to tell it from look-alikes: condition not met without a reason (code 22): a voltage reading close by tells the
two apart
What to try: connect a support unit fit for programming before any new attempt; measure at the module under load;
switch off lights, fans and pumps
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides. Do not start the engine to charge.
Evidence: the refusals. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import see_refusals
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity


@check("voltage-too-low", severity=Severity.SERIOUS, comes_first=True)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, {0x93})
