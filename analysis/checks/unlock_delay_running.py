"""Access is refused for a time.

What is seen: a seed or key was refused with code 37.
What it can mean: Wrong keys before; a delay that each power-up or reset starts anew.
How to tell it from look-alikes: too many keys (code 36): there the count, here only the time
What to try: wait longer with a steady supply and the tester quiet, then unlock once
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


@check("unlock-delay-running", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, {0x37}, {Act.UNLOCK})
