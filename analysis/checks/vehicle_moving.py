"""The vehicle moved while a memory was written.

What is seen: while a module was programmed or a value was written, a cyclic message said that the vehicle moves.
What it can mean: It was pushed, towed or driven during the work; the wheels turned on a lift or a test stand; or the
signal is not the speed of this vehicle.
How to tell it from look-alikes: a bench or a test stand that plays a speed; a speed kept by a sensor that hangs
What to try: bring the vehicle to a stand, chock it, and do the work anew as the service information says; look where
the speed comes from
Caution: never program a vehicle that moves: brakes, steering or drive may fail without warning. Chock the vehicle,
keep people away, follow the vehicle maker's service information.
Evidence: the act and the frames of the signal meanwhile. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.meanwhile import see_meanwhile
from analysis.checks.registry import Context, Seen, check
from analysis.motion import Moved
from analysis.words import Severity


@check("vehicle-moving", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_meanwhile(ctx, Moved.MOVING, "the vehicle moved", Severity.SERIOUS)
