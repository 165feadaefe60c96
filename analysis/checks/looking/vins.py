"""What the modules say the vehicle is, as checks need it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from analysis.checks.registry import Context
from analysis.operations.model import Kind, Part
from analysis.readings import Reading
from analysis.story import Story
from analysis.vins import last_vin, most_said, other_vehicle
from analysis.words import Word
from canlog.names.vin import check_vin


@dataclass(frozen=True, slots=True)
class SaidVin:
    """The last VIN that a module said; ``written``: this one was written in the job."""

    story: Story
    reading: Reading
    text: str
    written: bool


def last_vins(ctx: Context) -> list[SaidVin]:
    """The VIN of every module at the end of the job; none where work was begun on it since."""
    found = []
    for story in ctx.stories:
        last = last_vin(story, ctx.record)
        if last is None or _was_worked_on_since(ctx, story, last.reading):
            continue
        writes = (item for item in ctx.standing(Kind.WRITE) if item.link.key == story.link.key)
        written = any(item.part is Part.VIN and item.outcome.word is Word.CONFIRMED for item in writes)
        found.append(SaidVin(story, last.reading, last.text, written))
    return found


def _was_worked_on_since(ctx: Context, story: Story, reading: Reading) -> bool:
    """A download or a write of the VIN came behind the reading: what it says is the state before the job."""
    return any(
        item.begin > reading.place
        and item.link.key == story.link.key
        and (item.part is Part.PROGRAMMING or (item.part is Part.VIN and item.outcome.word is not Word.FAILED))
        for item in ctx.operations
    )


def expected_vin(ctx: Context) -> str:
    """The sheet's VIN, else the one that more modules say than any other; empty when neither tells.

    A sheet of another vehicle expects nothing of these modules: that is said once, not of each of them.
    """
    if ctx.sheet is not None and ctx.sheet.vin:
        return other_vehicle(ctx.sheet.vin, ctx.record) or ctx.sheet.vin
    return most_said(Counter(item.text for item in _all_said(ctx)))


def _all_said(ctx: Context) -> Iterator[SaidVin]:
    return (item for item in last_vins(ctx) if check_vin(item.text).well_formed)
