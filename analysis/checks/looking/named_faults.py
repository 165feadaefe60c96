"""Fault codes that speak of the job itself: memory, programming, storing."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Final

from analysis.checks.registry import Context, Seen
from analysis.fault_lists import FaultList, fault_lists, last_lists
from analysis.operations.model import Kind, evidence
from analysis.story import Story
from analysis.words import Confidence, Severity
from canlog.names.dtc import CONFIRMED, TEST_FAILED

#: First two bytes of a code, as in P0601. SAE J2012 (M).
MEMORY: Final = frozenset({0x0601, 0x0603, 0x0604, 0x0605, 0x0606, 0x062F})
#: U0300-U0305 are C300-C305.
NOT_PROGRAMMED: Final = frozenset({0x0315, 0x0602, 0x0610, 0x0630, 0x0631, 0x268A, *range(0xC300, 0xC306)})
CUT_SHORT: Final = frozenset({0x068A, 0x06B8})
ABOUT_THE_JOB: Final = MEMORY | NOT_PROGRAMMED | CUT_SHORT


def is_about_the_job(code: int) -> bool:
    """A finding of its own tells what this code means for the job."""
    return code >> 8 in ABOUT_THE_JOB


def see_named(ctx: Context, codes: Collection[int]) -> Iterator[Seen]:
    """One sighting for each module whose last list holds such a code as failed; a note where it was there before."""
    for story in ctx.stories:
        lists = fault_lists(story)
        for one, told in last_lists(lists):
            failed = [code for code in told if code >> 8 in codes and one.shows(code, TEST_FAILED | CONFIRMED)]
            if failed and not _cleared_since(ctx, story, one):
                said = ", ".join(one.called(code, story.label, ctx.record.names) for code in failed)
                old = all(_was_there(ctx, story, lists, code) for code in failed)
                end = " It was listed before the work began." if old else ""
                shown = (evidence(one.exchange, f"lists {said}"),)
                text = f"{story.label}: {said} at the last reading.{end}"
                yield Seen(Confidence.HIGH, shown, text, severity=Severity.NOTE if old else None)


def _cleared_since(ctx: Context, story: Story, one: FaultList) -> bool:
    clears = (item for item in ctx.standing(Kind.CLEAR) if item.link.key == story.link.key)
    return any(ctx.act(item).positive and item.begin > one.exchange.begin for item in clears)


def _was_there(ctx: Context, story: Story, lists: Collection[FaultList], code: int) -> bool:
    """A list in front of the first act on the module holds it; where nothing was done, any list is one."""
    acts = [item.begin for item in ctx.operations if item.part is not None and item.link.key == story.link.key]
    return not acts or any(code in one.codes for one in lists if one.exchange.begin < min(acts))
