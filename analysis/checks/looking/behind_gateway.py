"""Modules that may stand behind a closed gateway."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.silent_links import unanswered
from analysis.checks.registry import Context
from analysis.exchanges import Answer, Exchange
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


#: Conditions, no answer from the network behind, security: how a gateway refuses. ISO 14229-1, annex A.1 (M).
CLOSED = frozenset({0x22, 0x25, 0x33})


def refused_for_others(ctx: Context) -> Iterator[tuple[Story, list[tuple[Exchange, Exchange]]]]:
    """Gateways by the names, with what they refused unasked: the request to another module, and the refusal."""
    for story in ctx.stories:
        named = ctx.record.names.module(story.label)
        if named is None or not named.gateway:
            continue
        unasked = [item for item in ctx.own(story) if item.request is None and item.nrc in CLOSED]
        pairs = [(asked, item) for item in unasked if (asked := _asked_another(ctx, story, item)) is not None]
        if pairs:
            yield story, pairs


def _asked_another(ctx: Context, gateway: Story, refusal: Exchange) -> Exchange | None:
    """The last request in front of a refusal, where it went to another module alone, in vain, for the same service."""
    before = [
        item
        for item in ctx.record.exchanges
        if item.capture == refusal.capture and item.begin < refusal.begin and item.link.channel == gateway.link.channel
    ]
    last = before[-1] if before else None
    if last is None or last.functional or last.link.functional or last.link.key == gateway.link.key:
        return None
    is_soon = refusal.begin_ns - last.begin_ns < ctx.record.limits.p2_client_ns
    return last if is_soon and last.outcome is Answer.SILENT and last.service == refusal.service else None


def _is_heard(ctx: Context, story: Story) -> bool:
    return any(item.response is not None or item.pendings for item in ctx.own(story))
