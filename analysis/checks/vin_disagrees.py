"""The modules do not agree on the VIN.

What is seen: two or more modules said different VINs, and nothing tells which is the vehicle's.
What it can mean: One module was replaced; a vehicle built in several stages; a module that holds no VIN of its own.
How to tell it from look-alikes: readings from before the VIN was written
What to try: compare with the plate on the vehicle; give a job sheet with the VIN
Caution: a VIN is protected by law in many places, and some modules take it only once. The vehicle maker's service
information decides.
Evidence: the readings. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.vins import expected_vin, last_vins
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity


@check("vin-disagrees", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    said = last_vins(ctx)
    if expected_vin(ctx) or len({item.text for item in said}) < 2:
        return
    text = "; ".join(f"{item.story.label} says {item.text}" for item in said)
    shown = tuple(evidence(item.reading.exchange, f"{item.story.label} says {item.text}") for item in said)
    yield Seen(Confidence.HIGH, shown, f"{text}.")
