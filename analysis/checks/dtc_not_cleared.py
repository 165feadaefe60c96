"""The fault memory was not cleared.

What is seen: the request to clear was refused for good.
What it can mean: A condition is not met, such as a running engine; the group of codes is not known to the module.
How to tell it from look-alikes: codes that come back after a clear that worked
What to try: meet the condition and clear again; read the fault memory afterwards
Caution: none
Evidence: the refusals. Source: ISO 14229-1:2020, 12.2 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import see_refusals
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity
from canlog.services.dialects import GMW, KWP, OBD
from canlog.services.traits import Act

#: 22 is wider in the older dialects, and says the same of a clear (ISO 14230-3 (M), GMW3110 1.6, SAE J1979 (M)).
CODES = frozenset({0x22, 0x31})


@check("dtc-not-cleared", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, CODES, {Act.CLEAR}, older=dict.fromkeys((KWP, GMW, OBD), CODES))
