"""The values are the right ones in another order.

What is seen: the values of a set are those of its source, or of the job sheet, given to other units.
What it can mean: Units are numbered otherwise there and here (cylinder order, firing order, bank); or the values
were entered in the wrong order.
How to tell it from look-alikes: a source that is numbered otherwise by design: the service information says so
What to try: check the numbering in the service information; compare each value with the label on its part; write
the set again if it is wrong
Caution: a trim belongs to one part in one place. A wrong one can damage engine or gearbox, or move the vehicle the
wrong way. Compare with the label on the part before the engine is started.
Evidence: the values that stand elsewhere. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.unit_values import UnitValue, identifier_of, values_now, writes_of
from analysis.checks.registry import Context, Seen, check
from analysis.story import Story
from analysis.words import Confidence, Severity


@check("trims-order-suspicious", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        now = {item.identifier: item for item in values_now(ctx, story)}
        for right, where in ((_asked(ctx, story), "the job sheet"), (_source(ctx, story), "the module they came from")):
            moved = [one for one in now.values() if one.identifier in right and one.value != right[one.identifier]]
            have, want = [one.value for one in moved], [right[one.identifier] for one in moved]
            if len(moved) < 2 or sorted(have) != sorted(want):
                continue
            places = {value: identifier for identifier, value in right.items()}
            pairs = ", ".join(f"{one.identifier:04X} holds the value of {places[one.value]:04X}" for one in moved)
            text = f"{story.label}: {pairs}. So says {where}.{_firing_order(moved, right)}"
            sure = Confidence.HIGH if len(set(want)) == len(want) else Confidence.LOW
            yield Seen(sure, tuple(one.evidence for one in moved), text)
            break


def _asked(ctx: Context, story: Story) -> dict[int, bytes]:
    """Values that the sheet gives for this module."""
    module = ctx.sheet.module(story.label) if ctx.sheet else None
    return {one.identifier: one.value for one in module.trims if one.value is not None} if module else {}


def _source(ctx: Context, story: Story) -> dict[int, bytes]:
    """What the module that values were copied from holds under the same identifiers."""
    writes = writes_of(ctx, story)
    sources = {item.details["source_link"] for item in writes} - {None}
    mine = {identifier_of(item) for item in writes}
    return {
        reading.identifier: reading.raw
        for other in ctx.record.stories
        if other.link.key in sources
        for reading in ctx.record.readings(other)
        if reading.identifier in mine
    }


def _firing_order(moved: list[UnitValue], right: dict[int, bytes]) -> str:
    """A sentence where the values stand in the firing order that names give."""
    name = moved[0].name
    if name is None or not name.order:
        return ""
    values = {name.number_of(identifier): value for identifier, value in right.items() if name.covers(identifier)}
    in_order = all(
        (number := name.number_of(one.identifier)) is not None
        and number <= len(name.order)
        and values.get(name.order[number - 1]) == one.value
        for one in moved
    )
    order = "-".join(map(str, name.order))
    return f" They stand in firing order {order} instead of cylinder order." if in_order else ""
