"""Values that were to be read first were not read.

What is seen: the job sheet says that the old values are to be read first (read_first), and some of them were read
neither from the module before anything was changed in it, nor from the module that keeps a copy. A blank or default
value is none.
What it can mean: The values may stand on the labels of the parts, in another module, or on paper; a reading may be in
a recording that was not given.
How to tell it from look-alikes: a recording that starts inside the job; a new module, whose old one was read in an
earlier recording
What to try: read the old module if it still answers, or the module that keeps a copy; write the values down from the
labels of the parts
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the first change, or the last that is heard of the module. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.asked import first_change, last_heard
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.readings import Reading, said_identifiers
from analysis.sheet.items.item import stories_of
from analysis.sheet.jobsheet import ModuleAsked
from analysis.story import Story
from analysis.vins import other_vehicle
from analysis.words import Confidence, Severity
from canlog.names.blank import is_blank


@check("trims-not-recorded", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    if ctx.sheet is None or other_vehicle(ctx.sheet.vin, ctx.record):
        return
    for asked in ctx.sheet.modules:
        for story in stories_of(asked, ctx.record) if asked.read_first else ():
            missing = [one for one in _wanted(asked) if not _is_recorded(ctx, story, asked, one)]
            if missing:
                change = first_change(ctx, story)
                shown = (evidence(change, "the first change"),) if change is not None else last_heard(ctx, story)
                text = f"{story.label}: {said_identifiers(missing)} never read before."
                yield Seen(Confidence.MEDIUM, shown, text)


def _wanted(asked: ModuleAsked) -> list[int]:
    return [one.identifier for one in (*asked.trims, *asked.configuration)]


def _is_recorded(ctx: Context, story: Story, asked: ModuleAsked, identifier: int) -> bool:
    """A value of it was read in front of the first change, from the module itself or from its source."""
    change = first_change(ctx, story)
    keepers = {one.copied_from for one in (*asked.trims, *asked.configuration) if one.identifier == identifier}
    sources = [other for other in ctx.stories if other.label in keepers]
    return any(
        one.identifier == identifier and _is_value(one) and (change is None or one.place < change.begin)
        for other in (story, *sources)
        for one in ctx.record.readings(other)
    )


def _is_value(reading: Reading) -> bool:
    is_default = reading.name is not None and reading.name.is_default(reading.raw)
    return not is_blank(reading.raw) and not is_default
