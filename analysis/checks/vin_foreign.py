"""A module holds the VIN of another vehicle.

What is seen: the last VIN that the module said is another one than the vehicle's.
What it can mean: A used or remanufactured module that was not given the VIN; the write needs a restart; it can be
written only once. If trims were copied from this module, they are those of another vehicle.
How to tell it from look-alikes: a VIN that was typed wrong: it differs in one or two places; a reading before the
VIN was written
What to try: make sure which part is in the vehicle; restart the module and read F190 again; follow the service
information for used modules
Caution: a VIN is protected by law in many places, and some modules take it only once. The vehicle maker's service
information decides.
Evidence: the reading. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.checks.looking.vins import SaidVin, expected_vin, last_vins
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Kind, evidence
from analysis.vins import is_slip
from analysis.words import Confidence, Severity
from canlog.counting import counted
from canlog.names.vin import check_vin


@check("vin-foreign", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    right = expected_vin(ctx)
    foreign = [item for item in last_vins(ctx) if right and _is_foreign(item.text, right)]
    for vin in dict.fromkeys(item.text for item in foreign):
        yield _seen(ctx, [item for item in foreign if item.text == vin], right)


def _is_foreign(vin: str, right: str) -> bool:
    return vin != right and not is_slip(vin, right) and check_vin(vin).well_formed


def _seen(ctx: Context, said: Sequence[SaidVin], right: str) -> Seen:
    """All modules that say one VIN."""
    keys = {item.story.link.key for item in said}
    copies = [one for one in ctx.standing(Kind.WRITE) if one.details["source_link"] in keys]
    labels = ", ".join(item.story.label for item in said)
    text = f"{labels} {'says' if len(said) == 1 else 'say'} {said[0].text}; the vehicle is {right}."
    if copies:
        text += f" Copied from {'it' if len(said) == 1 else 'them'}: {counted(len(copies), 'value')}."
    step = f"Find out whose part {labels} is before its values are used" if copies else ""
    shown = tuple(evidence(item.reading.exchange, f"{item.story.label} says {item.text}") for item in said)
    return Seen(Confidence.HIGH, shown, text, step=step)
