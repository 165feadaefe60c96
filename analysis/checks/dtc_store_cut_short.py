"""A module was cut off while it stored values.

What is seen: the last fault list holds P068A (power relay off too early) or P06B8 (lasting memory) as failed.
What it can mean: Supply or battery may have been taken away after the key was off; relay or wiring may be at fault.
Values that were written may be lost.
How to tell it from look-alikes: a code that was stored before the work began; a fault of the memory itself (P062F)
What to try: read every written value again; repeat the store step with the whole key-off wait; check relay and wiring
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the last list. Source: SAE J2012 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.named_faults import CUT_SHORT, see_named
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity


@check("dtc-store-cut-short", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_named(ctx, CUT_SHORT)
