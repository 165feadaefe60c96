"""A module says that its own memory is bad.

What is seen: the last fault list holds a code about the module's memory or processor as failed: P0601, P0603 to
P0606, P062F.
What it can mean: The programming may not be complete; the supply may have been lost while values were stored; the
module may be faulty.
How to tell it from look-alikes: a code that was stored before the work began; one that is only in the history
What to try: read the software identification; program the part once more with the supply supported, if it is not
complete; then clear and read again
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the last list. Source: SAE J2012 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.named_faults import MEMORY, see_named
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity


@check("dtc-memory-check", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_named(ctx, MEMORY)
