"""The module was never programmed.

What is seen: the job sheet says that the module is the one from before (unit = "kept"), and the first VIN that its
application told, in front of any change, is blank.
What it can mean: Another, new module may be fitted; an earlier job may have erased it; the sheet may say kept where a
new module was fitted.
How to tell it from look-alikes: a new module, where a blank VIN is as it should be: then the sheet says so; a boot
loader after a failure, which tells no VIN of its own
What to try: compare the serial number with the label; program and configure the module whole, as a new one
Caution: none
Evidence: the reading. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.asked import first_change
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.sheet.items.item import stories_of
from analysis.sheet.jobsheet import KEPT
from analysis.words import Confidence, Severity
from canlog.names.blank import is_blank


@check("blank-module", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for asked in ctx.sheet.modules if ctx.sheet is not None else ():
        for story in stories_of(asked, ctx.record) if asked.unit == KEPT else ():
            change = first_change(ctx, story)
            first = next(
                (
                    one
                    for one in ctx.record.readings(story)
                    if one.kind == "vin" and not story.is_boot_loader(one.exchange)
                ),
                None,
            )
            if first is not None and is_blank(first.raw) and (change is None or first.place < change.begin):
                text = f"{story.label}: its VIN reads {first.raw.hex().upper()} before anything was done to it."
                yield Seen(Confidence.HIGH, (evidence(first.exchange, "the VIN, blank"),), text)
