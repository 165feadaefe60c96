"""A condition for this step is not met.

What is seen: a step was refused for good with code 22, which does not say what is missing.
What it can mean: Ignition state, running engine, gear, parking brake, door, charging cable; the supply; an
immobiliser that does not match; the order of steps.
How to tell it from look-alikes: supply too low (code 93) names its reason; a stored fault forbids it (code 26); one
write of a series was refused: another finding speaks of it
What to try: go through the conditions that the service information lists for this step; check the supply; then try
once more
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the refusals. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import refusals, sighting
from analysis.checks.looking.unit_values import mixed_sets
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity
from canlog.services.dialects import GMW, KWP, OBD
from canlog.services.traits import Act

ACTS = frozenset({Act.SESSION, Act.RESET, Act.WRITE, Act.CONTROL, Act.ROUTINE, Act.DOWNLOAD, Act.BLOCK, Act.EXIT})


#: In the older dialects it may also say that the step is not due now (ISO 14230-3 (M), GMW3110 1.6, SAE J1979 (M)).
CONDITION = frozenset({0x22})


@check("conditions-not-correct", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        of_sets = {ctx.act(item).number for refused, _ in mixed_sets(ctx, story) for item in refused}
        refused = refusals(ctx, story, CONDITION, ACTS, dict.fromkeys((KWP, GMW, OBD), CONDITION))
        found = [item for item in refused if item.exchange.number not in of_sets]
        if found:
            yield sighting(story, found)
