"""What became of a write that was accepted and reads differently: three stories, each with a finding of its own."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum
from typing import NamedTuple

from analysis.checks.looking.unit_values import identifier_of, lines_of, was_refused, writes_of, written
from analysis.checks.registry import Context, Seen
from analysis.operations.model import Operation, evidence
from analysis.readings import Reading
from analysis.story import Story
from analysis.words import Word


class Fate(StrEnum):
    """Why the last reading is not what was written."""

    LOST = "lost"  # it was there, and at the next reading, behind a restart, it is not
    NOT_TAKEN = "not taken"  # it reads as before the write, and never read as written
    DIFFERS = "differs"


class Lost(NamedTuple):
    """A write with its fate; ``right``: the last reading that showed the written value, where one did."""

    write: Operation
    fate: Fate
    right: Reading | None


def lost_writes(ctx: Context, story: Story, fate: Fate) -> Iterator[Lost]:
    """Standing writes of any part that met this fate."""
    for item in writes_of(ctx, story, None):
        if item.outcome.word is Word.FAILED and not was_refused(ctx, item):
            found = _fate(ctx, story, item)
            if found.fate is fate:
                yield found


def _fate(ctx: Context, story: Story, write: Operation) -> Lost:
    act = ctx.act(write)
    same = [item for item in ctx.record.readings(story) if item.identifier == identifier_of(write)]
    behind = [item for item in same if act.end < item.place <= write.end]
    right = next((at for at in reversed(range(len(behind))) if behind[at].raw == written(write)), None)
    if right is None:
        before = write.details["before"]
        is_old = before is not None and write.details["read_back"] == before
        return Lost(write, Fate.NOT_TAKEN if is_old else Fate.DIFFERS, None)
    start = story.start_after(behind[right].place)
    is_lost = start is not None and any(start.place < item.place for item in behind[right + 1 : right + 2])
    return Lost(write, Fate.LOST if is_lost else Fate.DIFFERS, behind[right])


def see_lost(ctx: Context, story: Story, lost: Lost, end: str = "") -> Seen:
    """The write, the reading that was right, and the last one."""
    details = lost.write.details
    text = f"{story.label} {details['identifier']}: written {details['written']}, reads {details['read_back']}."
    right = () if lost.right is None else (evidence(lost.right.exchange, "reads as written"),)
    shown = (lines_of(lost.write, ctx, f"writes {details['written']}"), *right, *lost.write.outcome.proof)
    return Seen(lost.write.outcome.confidence, shown, text + end)
