"""A value is out of its range.

What is seen: a value, read by the layout of the names, is outside the range that the names give.
What it can mean: Another part family; a wrong scale or byte order; a default.
How to tell it from look-alikes: names that are wrong: then the values of the old part are out of range as well
What to try: compare with the data of the part
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the values. Source: common practice, no source: layout and range are the names file's.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.unit_values import UnitValue, values_now
from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Severity, Word
from canlog.services.identifiers import identifier_text


@check("trims-implausible", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        odd = [
            (item, one)
            for item in values_now(ctx, story)
            if item.name is not None and _counts(item) and not item.name.is_default(item.value)
            for one in item.name.decode(item.value)
            if one.in_range is False
        ]
        if odd:
            texts = "; ".join(f"{identifier_text(item.identifier)} {one.name} {one.text}" for item, one in odd[:4])
            shown = tuple(dict.fromkeys(item.evidence for item, _ in odd))
            yield Seen(Confidence.MEDIUM, shown, f"{story.label}: {texts}.")


def _counts(item: UnitValue) -> bool:
    """It was written, and is not another value than the one written."""
    return item.write is not None and item.write.outcome.word is not Word.FAILED
