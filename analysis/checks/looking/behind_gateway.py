"""Modules that may stand behind a closed gateway."""

from __future__ import annotations

from analysis.checks.looking.silent_links import unanswered
from analysis.checks.registry import Context
from analysis.story import Story

#: One silent module is a matter of that module.
SEVERAL = 2


def never_heard(ctx: Context) -> list[Story]:
    """Named modules that were asked alone and never heard, where another one of the same channel was.

    Empty where they are fewer than two.
    """
    one_way = {key for _, key in ctx.record.one_way}
    heard = {story.link.channel for story in ctx.stories if _is_heard(ctx, story)}
    silent = [
        story
        for story in ctx.stories
        if story.named
        and story.link.channel in heard
        and story.link.key not in one_way
        and not _is_heard(ctx, story)
        and unanswered(ctx, story)
    ]
    return silent if len(silent) >= SEVERAL else []


def _is_heard(ctx: Context, story: Story) -> bool:
    return any(item.response is not None or item.pendings for item in ctx.own(story))
