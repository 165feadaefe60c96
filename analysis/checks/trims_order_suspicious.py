"""The values are the right ones in another order.

What is seen: the values of a set are those of its source, or of the job sheet, given to other units.
What it can mean: Units are numbered otherwise there and here (cylinder order, firing order, bank); or the values
were entered in the wrong order.
How to tell it from look-alikes: a source that is numbered otherwise by design: the service information says so
What to try: check the numbering in the service information; compare each value with the label on its part; write
the set again if it is wrong
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the values that stand elsewhere. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.unit_values import UnitValue, moved_values
from analysis.checks.registry import Context, Seen, check
from analysis.readings import said_identifiers
from analysis.words import Confidence, Severity
from canlog.services.identifiers import identifier_text


@check("trims-order-suspicious", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        moved = moved_values(ctx, story)
        if moved is None:
            continue
        places = {value: identifier for identifier, value in moved.right.items()}
        pairs = ", ".join(
            f"{identifier_text(one.identifier)} holds the value of {identifier_text(places[one.value])}"
            for one in moved.values
        )
        want = [moved.right[identifier] for identifier in moved.identifiers]
        sure = Confidence.HIGH if len(set(want)) == len(want) else Confidence.LOW
        firing = _firing_order(moved.values, moved.right)  # what to know first: it stands in the headline
        text = f"{story.label}: {firing}{pairs}. So says {moved.by}."
        step = (
            f"compare {said_identifiers(moved.identifiers)} of {story.label} with the labels on the parts, write each "
            f"to its own place, cycle the ignition and read them back"
        )
        yield Seen(sure, tuple(one.evidence for one in moved.values), text, step=step)


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
    where = said_identifiers(one.identifier for one in moved)
    return f"{where} stand in firing order {order} instead of cylinder order. " if in_order else ""
