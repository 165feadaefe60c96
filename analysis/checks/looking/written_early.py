"""Values that were written in front of an erase or a download."""

from __future__ import annotations

from analysis.checks.registry import Context
from analysis.exchanges import Exchange
from analysis.operations.model import Operation
from analysis.operations.routines import erase_behind, has_begun
from analysis.story import Story
from analysis.words import Word


def erased_since(ctx: Context, story: Story, write: Operation) -> Exchange | None:
    """The erase or download behind an accepted write of a value that nobody read since; None where there is none."""
    if write.outcome.word is not Word.UNPROVEN or not ctx.act(write).positive:
        return None
    erase = erase_behind(write.end, story, ctx.record.names)
    return erase if erase is not None and has_begun(erase) else None
