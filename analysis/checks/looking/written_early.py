"""Values that were written in front of an erase."""

from __future__ import annotations

from analysis.checks.registry import Context
from analysis.exchanges import Exchange
from analysis.operations.model import Operation
from analysis.operations.routines import START, has_begun, read_call
from analysis.story import Story
from analysis.words import Word


def erased_since(ctx: Context, story: Story, write: Operation) -> Exchange | None:
    """The first erase behind an accepted write of a value that nobody read since; None where there is none."""
    if write.outcome.word is not Word.UNPROVEN or not ctx.act(write).positive:
        return None
    for exchange in ctx.own(story):
        call = read_call(exchange, story.label, ctx.record.names) if exchange.begin > write.end else None
        if call is not None and call.kind == "erase" and call.control == START and has_begun(exchange):
            return exchange
    return None
