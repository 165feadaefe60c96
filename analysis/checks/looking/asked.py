"""What the job sheet asks for and the captures do not show, once the job came that far."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context
from analysis.exchanges import Exchange
from analysis.modules import Now
from analysis.operations.model import Kind, Part, evidence
from analysis.sheet.jobsheet import ModuleAsked, ValueAsked
from analysis.story import Story
from analysis.vins import other_vehicle
from analysis.words import BROKEN, Evidence, Word
from canlog.services.traits import Act


def came_far(ctx: Context) -> Iterator[tuple[ModuleAsked, Story]]:
    """Modules of the sheet on which the job was carried on to its end: what is missing then was left out.

    Where programming failed or broke off, the other steps were not due; a sheet of another vehicle asks nothing.
    """
    if ctx.sheet is None or other_vehicle(ctx.sheet.vin, ctx.record):
        return
    for story in ctx.stories:
        asked = ctx.sheet.module(story.label)
        if asked is not None and _is_done(ctx, story):
            yield asked, story


def _is_done(ctx: Context, story: Story) -> bool:
    """It was programmed, ended well as far as is seen, and its application answers."""
    programmed = [item for item in ctx.standing(Kind.DOWNLOAD) if item.link.key == story.link.key and item.part]
    if not programmed or any(item.outcome.word in BROKEN for item in programmed):
        return False
    return any(state.now is Now.APPLICATION for state in ctx.modules if state.story.link.key == story.link.key)


def is_untouched(ctx: Context, story: Story, asked: ValueAsked) -> bool:
    """The value was neither written, nor read behind the programming, whatever it was."""
    writes = [item for item in ctx.standing(Kind.WRITE) if item.link.key == story.link.key]
    if any(int(str(item.details["identifier"]), 16) == asked.identifier for item in writes):
        return False
    parts = [item.end for item in ctx.standing(Kind.DOWNLOAD) if item.link.key == story.link.key]
    read = (item for item in ctx.record.readings(story) if item.identifier == asked.identifier)
    return not any(item.place > max(parts, default=(0, 0)) for item in read)


def was_accepted(ctx: Context, story: Story, part: Part) -> bool:
    """A value of this part was written, and not refused."""
    return any(
        item.part is part and item.link.key == story.link.key and item.outcome.word is not Word.FAILED
        for item in ctx.standing(Kind.WRITE)
    )


def first_change(ctx: Context, story: Story) -> Exchange | None:
    """The first exchange that erased, downloaded or wrote something, refused ones left out; None where nothing did."""
    numbers = (
        number
        for item in ctx.operations
        if item.link.key == story.link.key and item.kind in (Kind.DOWNLOAD, Kind.FILE, Kind.WRITE)
        for number in item.exchanges
    )
    acts = {ctx.exchange(number).begin: ctx.exchange(number) for number in numbers}
    done = [acts[place] for place in sorted(acts) if acts[place].act is not Act.READ and acts[place].nrc is None]
    return done[0] if done else None


def last_heard(ctx: Context, story: Story) -> tuple[Evidence, ...]:
    """The last of a module in the captures: what is missing has no lines of its own."""
    return (evidence(ctx.own(story)[-1], "the last that is heard of the module"),)
