"""A copied record is not equal to its source.

What is seen: records were copied from one module to another, and one of them differs from its source in some bytes.
What it can mean: It was edited; a frame was lost or damaged in the record; the writing device sets a serial number
or a check anew.
How to tell it from look-alikes: records of another kind that share the number; values exchanged within the set
What to try: put both records side by side; read the source again; write the record again if it is wrong
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the reading of the source and the write. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.unit_values import identifier_of, lines_of, writes_of, written
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Place
from analysis.operations.model import evidence
from analysis.readings import Reading
from analysis.words import Confidence, Severity
from canlog.counting import counted

#: More than this share of other bytes is another record, not a copy.
OTHER_RECORD_PERCENT = 25
LONG_ENOUGH = 4


@check("copy-differs", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        writes = writes_of(ctx, story)
        sources = {str(item.details["source_link"]) for item in writes if item.details["source_link"]}
        for item in writes:
            if item.details["source_link"] or not item.details["written"]:
                continue
            for reading in _last_readings(ctx, sources, identifier_of(item), item.begin):
                differing = [at for at, (a, b) in enumerate(zip(reading.raw, written(item), strict=False)) if a != b]
                size = len(reading.raw)
                if size != len(written(item)) or size < LONG_ENOUGH:
                    continue
                if not 0 < 100 * len(differing) <= OTHER_RECORD_PERCENT * size:
                    continue
                text = (
                    f"{story.label} {item.details['identifier']}: {len(differing)} of {counted(size, 'byte')} differ, "
                    f"source {reading.raw.hex().upper()}, written {item.details['written']}."
                )
                shown = (evidence(reading.exchange, "the source"), lines_of(item, ctx, "the write"))
                yield Seen(Confidence.MEDIUM, shown, text)


def _last_readings(ctx: Context, sources: set[str], identifier: int, before: Place) -> list[Reading]:
    """What each source last said of the identifier in front of a place."""
    last = {
        other.link.key: reading
        for other in ctx.record.stories
        if other.link.key in sources
        for reading in ctx.record.readings(other)
        if reading.identifier == identifier and reading.place < before
    }
    return list(last.values())
