"""A module says that data is missing.

What is seen: the last fault list holds a code that speaks of missing or unfit data: P0602, P0610, P0630, P0631,
P0315, P268A, U0300 to U0305.
What it can mean: A step of the job may have been left out: software, options, VIN, trims or a learned value. Before
the last step of the job such a code is normal.
How to tell it from look-alikes: the same code before the job, which brought the vehicle here
What to try: do the step that the code names; then clear and read again
Caution: learn routines and tests move parts, build pressure or start the engine. Chock the vehicle, keep people
away, mind high voltage, follow the vehicle maker's service information.
Evidence: the last list. Source: SAE J2012 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.named_faults import NOT_PROGRAMMED, see_named
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity


@check("dtc-not-programmed", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_named(ctx, NOT_PROGRAMMED)
