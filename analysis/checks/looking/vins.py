"""What the modules say the vehicle is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from analysis.checks.registry import Context
from analysis.operations.model import Kind, Part
from analysis.readings import Reading
from analysis.story import Story
from analysis.words import Word
from canlog.names.dids import VIN
from canlog.names.vin import check_vin

OBD_VIN = 0xF802
#: So many other signs are a slip of the hand, not another vehicle.
SLIP = 2


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
        readings = [one for one in ctx.record.readings(story) if one.identifier in (VIN, OBD_VIN)]
        if not readings:
            continue
        last = readings[-1]
        said = check_vin(last.raw[-17:] if last.identifier == OBD_VIN else last.raw)
        if said.blank or _was_worked_on_since(ctx, story, last):
            continue
        writes = (item for item in ctx.standing(Kind.WRITE) if item.link.key == story.link.key)
        written = any(item.part is Part.VIN and item.outcome.word is Word.CONFIRMED for item in writes)
        found.append(SaidVin(story, last, said.text, written))
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
    """The sheet's VIN, else the one that more modules say than any other; empty when neither tells."""
    if ctx.sheet is not None and ctx.sheet.vin:
        return str(ctx.sheet.vin)
    counts = Counter(item.text for item in _all_said(ctx)).most_common(2)
    if not counts or counts[0][1] < 2 or (len(counts) > 1 and counts[0][1] == counts[1][1]):
        return ""
    return counts[0][0]


def _all_said(ctx: Context) -> Iterator[SaidVin]:
    return (item for item in last_vins(ctx) if check_vin(item.text).well_formed)


def is_slip(text: str, right: str) -> bool:
    """The two differ in so few places that somebody mistyped it."""
    return len(text) == len(right) and 0 < sum(a != b for a, b in zip(text, right, strict=True)) <= SLIP
