"""A record is not the one for this place.

What is seen: the record names its own unit (the field index of the names' layout), and it is another one than its
identifier.
What it can mean: Records were exchanged; a record was written to the wrong place.
How to tell it from look-alikes: names that count otherwise: then all records of the set are off by the same
What to try: compare with the label on the part; write each record to its own place and read it after an ignition
cycle
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the records. Source: common practice, no source: the layout is the names file's.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from analysis.checks.looking.unit_values import UnitValue, moved_values, runs, values_now
from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Severity
from canlog.services.identifiers import identifier_text


@check("trims-check-bad", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        moved = moved_values(ctx, story)
        told_already = moved.identifiers if moved is not None else set()  # that the set stands in another order
        for run in runs(values_now(ctx, story)):
            shifts = {item.identifier: _shift(item) for item in run}
            told = [shift for shift in shifts.values() if shift is not None]
            if len(told) < 2:
                continue
            usual, _ = Counter(told).most_common(1)[0]
            odd = [item for item in run if shifts[item.identifier] not in (None, usual)]
            wrong = [item for item in odd if item.identifier not in told_already]
            if usual not in (0, -1) or not wrong:
                continue
            texts = ", ".join(f"{identifier_text(item.identifier)} holds the record of another unit" for item in wrong)
            yield Seen(Confidence.HIGH, tuple(item.evidence for item in wrong), f"{story.label}: {texts}.")


def _shift(item: UnitValue) -> int | None:
    """The record's own index less the place of its identifier; None where the layout has no index."""
    place = item.name.number_of(item.identifier) if item.name else None
    if item.name is None or place is None:
        return None
    index = next((one.value for one in item.name.decode(item.value) if one.name.lower() == "index"), None)
    return index - place if isinstance(index, int) else None
