"""The VIN of a module changed, and nobody wrote it.

What is seen: a module said a well-formed VIN, and the last time it was asked another one, or none; no write of the VIN
lies between the two.
What it can mean: An erase or a new software took it away; another unit answers by now; the module takes the VIN from
another one over the bus; its memory does not hold.
How to tell it from look-alikes: a VIN that was written in between; a module that was replaced between two recordings;
a boot loader, which often holds no VIN
What to try: read the VIN again after an ignition cycle, and compare it with the plate on the vehicle
Caution: a VIN is protected by law in many places, and some modules take it only once. The vehicle maker's service
information decides.
Evidence: both readings. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Kind, Part, evidence
from analysis.operations.replaced import is_of_another_unit
from analysis.readings import Reading
from analysis.story import Story, is_same_module
from analysis.vins import tells_vin, vin_in
from analysis.words import Confidence, Severity, Word


@check("vin-changed", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        told: dict[tuple[int, int], list[Reading]] = {}
        for one in ctx.record.readings(story):
            if tells_vin(one) and not story.is_boot_loader(one.exchange):
                told.setdefault(one.key, []).append(one)
        for readings in told.values():
            yield from _changed(ctx, story, readings)


def _changed(ctx: Context, story: Story, readings: list[Reading]) -> Iterator[Seen]:
    """The last reading against those in front of it, back to a write; between two recordings a unit may be replaced."""
    last = readings[-1]
    now = vin_in(last)
    own = [item for item in ctx.standing(Kind.WRITE) if is_same_module(item.link, story.link)]
    writes = [item.begin for item in own if item.part is Part.VIN and item.outcome.word is not Word.FAILED]
    since = max((place for place in writes if place < last.place), default=(last.place[0], 0))
    for one in reversed(readings):
        was = vin_in(one)
        if one.place <= since or is_of_another_unit(one, last.exchange, story, ctx.record):
            return
        if was.well_formed and was.text != now.text:
            said = "blank" if now.blank else now.text
            shown = (evidence(one.exchange, f"says {was.text}"), evidence(last.exchange, f"says {said}"))
            text = f"{story.label} said {was.text}, and then {said}; no write lies between."
            yield Seen(Confidence.HIGH, shown, text)
            return
