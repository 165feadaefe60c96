"""Values were written and not read back.

What is seen: writes were accepted, and the values were not read afterwards, or only before a restart.
What it can mean: A positive answer says accepted, and not what is stored.
How to tell it from look-alikes: a capture that stops before the reading; a value that was the same before: then
reading proves nothing about the write
What to try: compare what is read with the labels on the parts
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the writes. Source: ISO 14229-1:2020, 11.7 (M): the positive response holds no data.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.unit_values import identifier_of, lines_of, writes_of
from analysis.checks.looking.written_early import erased_since
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Operation, Part
from analysis.operations.write import read_again
from analysis.readings import said_identifiers
from analysis.story import Story
from analysis.words import Confidence, Severity, Word
from canlog.counting import counted


@check("trims-not-read-back", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        for part in (Part.TRIMS, Part.VIN):
            unread = [
                item for item in writes_of(ctx, story, part) if _is_unread(item) and not erased_since(ctx, story, item)
            ]
            if not unread:
                continue
            shown = tuple(lines_of(item, ctx, f"{item.details['identifier']} was accepted") for item in unread)
            names = said_identifiers(identifier_of(item) for item in unread)
            since = "not read after the restart" if _is_restarted(unread, story) else "not read since"
            text = f"{story.label}: {counted(len(unread), 'value')} accepted, {since}: {names}."
            yield Seen(Confidence.HIGH, shown, text, step=read_again(map(identifier_of, unread)))


def _is_restarted(unread: list[Operation], story: Story) -> bool:
    return any(story.start_after(item.begin) is not None for item in unread)


def _is_unread(item: Operation) -> bool:
    return item.outcome.word is Word.UNPROVEN and not item.details["after_power_cycle"]
