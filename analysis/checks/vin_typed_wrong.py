"""A VIN was typed wrong.

What is seen: the VIN differs from the vehicle's in one or two places, or has signs that no VIN has, or its check
digit is wrong where one is due.
What it can mean: A slip of the hand, such as two signs exchanged; or the number of another vehicle.
How to tell it from look-alikes: the VIN of another vehicle: it differs in many places; check digits, which are not
used everywhere
What to try: compare with the plate on the vehicle; write the VIN again; read it after an ignition cycle
Caution: a VIN is protected by law in many places, and some modules take it only once. The vehicle maker's service
information decides.
Evidence: the reading or the write. Source: 49 CFR 565.15 for the check digit (North America).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.unit_values import lines_of, written
from analysis.checks.looking.vins import expected_vin, last_vins
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Kind, Part, evidence
from analysis.vins import is_slip
from analysis.words import Confidence, Severity, Word
from canlog.names.vin import LENGTH, check_vin


@check("vin-typed-wrong", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    right = expected_vin(ctx)
    said = {item.story.link.key: item for item in last_vins(ctx)}
    for item in said.values():
        if text := _fault(item.text, right):
            shown = (evidence(item.reading.exchange, f"says {item.text}"),)
            yield Seen(Confidence.HIGH, shown, f"{item.story.label}: {item.text} {text}.")
    for write in ctx.standing(Kind.WRITE):
        request = ctx.act(write).request
        if write.part is not Part.VIN or write.link.key in said or write.outcome.word is Word.FAILED:
            continue
        if request is None or not request.complete:
            continue
        vin = written(write).decode("ascii", "replace")
        if text := _fault(vin, right):
            yield Seen(Confidence.HIGH, (lines_of(write, ctx, f"writes {vin}"),), f"{write.label}: {vin} {text}.")


def _fault(vin: str, right: str) -> str:
    """What is wrong with it; empty when nothing is, or when it is another vehicle's."""
    if vin == right:
        return ""
    if right and is_slip(vin, right):
        places = [str(at) for at, (a, b) in enumerate(zip(vin, right, strict=True), start=1) if a != b]
        return f"differs from {right} in {'place' if len(places) == 1 else 'places'} {' and '.join(places)}"
    finding = check_vin(vin).finding if len(vin) == LENGTH else ""
    return f"({finding})" if finding else ""
