"""The job sheet and the recording do not belong together.

What is seen: none of the modules of the job sheet is in the recording although others are, or the modules agree on
the VIN of another vehicle than the job sheet's.
What it can mean: The wrong sheet or the wrong file was given; the links on the sheet are wrong; the VIN on the sheet
was typed wrong; the other part of a job that was recorded in two.
How to tell it from look-alikes: one module with another VIN: it is a used part; a module of the sheet that was asked
and fell silent
What to try: make sure that job sheet and recording belong together; compare the VIN of the sheet with the plate on
the vehicle
Caution: do not program or write anything after this report: what is missing here may have been done to another
vehicle. The vehicle maker's service information decides.
Evidence: the first exchange of each module, or the readings of the VIN. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.sheet.items.item import stories_of
from analysis.sheet.jobsheet import JobSheet
from analysis.vins import is_slip, last_vins, other_vehicle
from analysis.words import Confidence, Severity


@check("sheet-of-another-job", severity=Severity.SERIOUS, comes_first=True)
def find(ctx: Context) -> Iterator[Seen]:
    if ctx.sheet is None:
        return
    other = other_vehicle(ctx.sheet.vin, ctx.record)
    is_absent = _is_absent(ctx.sheet, ctx)
    if not other and not is_absent:
        return
    pieces = []
    if other:
        hint = " (a slip of the hand?)" if is_slip(other, ctx.sheet.vin) else ""
        pieces.append(f"The modules say the VIN {other}, the sheet says {ctx.sheet.vin}{hint}.")
    if is_absent:
        asked = ", ".join(one.called for one in ctx.sheet.modules)
        heard = ", ".join(dict.fromkeys(story.link.key.partition(":")[2] for story in ctx.stories))
        pieces.append(f"Of the sheet's modules none is in the recording: {asked}; it holds {heard}.")
    shown = [evidence(one.reading.exchange, f"says {one.text}") for one in last_vins(ctx.record)] if other else []
    firsts = [evidence(ctx.own(story)[0], f"{story.label} was asked here") for story in ctx.stories]
    yield Seen(Confidence.HIGH, tuple(shown or firsts), " ".join(pieces))


def _is_absent(sheet: JobSheet, ctx: Context) -> bool:
    """Modules are in the recording, and none that the sheet means."""
    return bool(sheet.modules and ctx.stories) and not any(stories_of(one, ctx.record) for one in sheet.modules)
