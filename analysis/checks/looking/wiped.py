"""Records that were read good and then overwritten with fill bytes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from analysis.checks.looking.unit_values import UnitValue, lines_of, values_now, written
from analysis.checks.registry import Context
from analysis.operations.replaced import is_of_module_before
from analysis.readings import Reading
from analysis.story import Story
from analysis.words import Evidence
from canlog.names.blank import is_wiped


class Wiped(NamedTuple):
    """A value that is gone from its module, and the reading that still holds it."""

    now: UnitValue
    write: Evidence
    before: Reading

    @property
    def identifier(self) -> int:
        """Of the value."""
        return self.now.identifier


def wiped_values(ctx: Context, story: Story) -> Iterator[Wiped]:
    """Those that the module still holds blank at the end, and that the job sheet does not ask for as they are."""
    asked = ctx.sheet.module(story.label) if ctx.sheet is not None else None
    wanted = {(one.identifier, one.value) for one in (*asked.trims, *asked.configuration)} if asked else set()
    for now in values_now(ctx, story):
        write = now.write
        if write is None or now.kind == "learned" or (now.identifier, now.value) in wanted:
            continue
        told = [
            one
            for one in ctx.record.readings(story)
            if one.identifier == now.identifier
            and one.place < write.begin
            and not is_of_module_before(one, write.begin[0], story, ctx.record)
        ]
        # several attempts may have been read in between: what stood there before is the last that tells something
        good = next((one for one in reversed(told) if is_wiped(one.raw, written(write))), None)
        if good is not None and is_wiped(good.raw, now.value):
            yield Wiped(now, lines_of(write, ctx, f"{write.details['identifier']} was overwritten with blanks"), good)
