"""Too many wrong keys: access is locked.

What is seen: a key was refused with code 36.
What it can mean: Several keys were wrong; or some were counted on an earlier day.
How to tell it from look-alikes: a lock-out time that runs (code 37): it ends by itself, after 36 it only begins
What to try: leave the ignition on and wait as long as the service information says; find out why the keys were
wrong before the next try
Caution: do not repeat blindly: wrong keys are counted, and each erase puts the module at risk. The vehicle maker's
service information decides.
Evidence: the refusals. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import see_refusals
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity
from canlog.services.traits import Act


@check("attempts-exceeded", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, {0x36}, {Act.UNLOCK})
