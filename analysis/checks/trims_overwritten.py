"""Good records were overwritten with blanks.

What is seen: records were read with values in them, and then overwritten with FF, 00 or blanks throughout.
What it can mean: A copy in the wrong direction, from the new module into the one that holds the values; or a device
that wrote its defaults.
How to tell it from look-alikes: records set to zero on purpose, before something is learned anew: the service
information says so; a module that was blank before
What to try: write the values that were read before, as they stand in this recording; copy nothing from this module
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the readings before and the writes. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.wiped import Wiped, wiped_values
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.readings import said_identifiers
from analysis.story import Story
from analysis.words import Confidence, Severity
from canlog.names.blank import is_blank, is_fill


@check("trims-overwritten", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        found = list(wiped_values(ctx, story))
        if not found:
            continue
        numbers = said_identifiers(one.identifier for one in found)
        source = _blank_source(ctx, story, found)
        wrong_way = f" {source} read blank there before: a copy in the wrong direction is likely." if source else ""
        lines = sorted(one.before.exchange.lines[0] for one in found)
        at = f"line {lines[0]}" if len(lines) == 1 else f"lines {lines[0]} to {lines[-1]}"
        text = (
            f"{story.label}: good values of {numbers} were overwritten with blanks. "
            f"The values before stand in this recording ({at}).{wrong_way}"
        )
        shown = [
            piece
            for one in found
            for piece in (evidence(one.before.exchange, f"reads {one.before.raw.hex().upper()}"), one.write)
        ]
        sure = Confidence.HIGH if all(is_blank(one.now.value) for one in found) else Confidence.MEDIUM
        step = f"Write {numbers} of {story.label} back as read before ({at}), if part and label say the same"
        yield Seen(sure, tuple(shown), text, step=step)


def _blank_source(ctx: Context, story: Story, found: list[Wiped]) -> str:
    """A module that told blanks under the same numbers in front of the writes."""
    first = {one.identifier: one.now.write.begin for one in found if one.now.write is not None}
    for other in ctx.stories:
        told = (one for one in ctx.record.readings(other) if one.identifier in first and is_fill(one.raw))
        if other is not story and any(one.place < first[one.identifier] for one in told):
            return other.label
    return ""
