"""Modules that stopped answering, sorted by what explains it, so that one cause makes one finding."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.breaks.silence import Silent, who_fell_silent
from analysis.checks.registry import Context
from analysis.exchanges import Answer, Exchange
from analysis.operations.model import Kind, Operation, evidence
from analysis.story import Story
from analysis.words import Evidence, Word


def lost_resets(ctx: Context) -> list[Operation]:
    """Resets that were answered and behind which the module, though asked, never spoke again."""
    return [
        item
        for item in ctx.operations
        if item.kind is Kind.RESET and item.outcome.word is Word.INTERRUPTED and ctx.act(item).positive
    ]


def reset_lines(ctx: Context, reset: Operation) -> tuple[Evidence, ...]:
    """The reset itself."""
    return (evidence(ctx.act(reset), "the reset was answered"),)


def fell_silent(ctx: Context, who: Silent) -> Iterator[Story]:
    """Modules that had spoken, and towards or from which ``who`` stopped first; lost resets are left out."""
    explained = {item.link.key for item in lost_resets(ctx)}
    for story in ctx.stories:
        own = ctx.own(story)
        spoke = any(item.response is not None or item.pendings for item in own)
        if (
            spoke
            and not own[-1].functional
            and story.link.key not in explained
            and who_fell_silent(story, ctx.record) is who
        ):
            yield story


def unanswered(ctx: Context, story: Story) -> list[Exchange]:
    """Whole requests to a module alone that wanted an answer and had none, not even a wait."""
    return [
        item
        for item in ctx.own(story)
        if item.outcome is Answer.SILENT and not item.pendings and item.request is not None and not item.functional
    ]


def last_words(ctx: Context, story: Story) -> tuple[Evidence, ...]:
    """The last answer of a module and what was asked behind it."""
    own = ctx.own(story)
    heard = [item for item in own if item.response is not None or item.pendings]
    behind = [item for item in own if not heard or item.begin > heard[-1].begin]
    shown = [evidence(heard[-1], "the last answer of the module")] if heard else []
    return (*shown, *(evidence(item, "asked, and not answered") for item in behind[-4:]))
