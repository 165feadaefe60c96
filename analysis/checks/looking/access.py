"""What became of an access that was granted."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from analysis.checks.looking.changing import CHANGING, is_told_elsewhere
from analysis.checks.looking.refusals import Refusal, refusals
from analysis.checks.registry import Context
from analysis.exchanges import Exchange, Place
from analysis.story import Story
from canlog.frames import TimeKind
from canlog.services.traits import Act

LOCKED = 0x33
#: What asks for access where a reading does not; that of a session and its request have findings of their own.
PROTECTED = (CHANGING | {Act.READ_MEMORY, Act.UPLOAD}) - {Act.SESSION, Act.UNLOCK}


def locked_refusals(ctx: Context, story: Story) -> Iterator[tuple[Refusal, Exchange | None, str]]:
    """Refusals because of a locked module: with the last access granted before, and what has ended it since.

    The text is empty where nothing seen ended it, or where none had been granted.
    """
    for item in refusals(ctx, story, {LOCKED}):
        if item.exchange.act in PROTECTED and not is_told_elsewhere(ctx, story, item):
            granted = last_access(story, item.exchange.begin)
            yield item, granted, ended_by(ctx, story, granted, item.exchange) if granted is not None else ""


def last_access(story: Story, place: Place) -> Exchange | None:
    """The last key that was accepted, or authentication that was taken, in front of a place."""
    return next((item for item in reversed(story.own) if item.end < place and _grants(item)), None)


def _grants(exchange: Exchange) -> bool:
    if not exchange.positive:
        return False
    is_key = exchange.act is Act.UNLOCK and len(exchange.answered) in (2, 3) and not exchange.answered[1] & 1
    return is_key or exchange.act is Act.AUTHENTICATE


def ended_by(ctx: Context, story: Story, granted: Exchange, refused: Exchange) -> str:
    """What stands between an access and a refusal and takes the access away; empty where nothing does."""
    if granted.capture != refused.capture:
        return "another capture began in between"
    start = story.start_after(granted.end)
    if start is not None and start.place < refused.begin:
        return f"the module started anew (line {start.place[1]})"
    between = list(story.between(granted.end, refused.begin))
    changed = next((item for item in between if item.session is not None and item.positive), None)
    if changed is not None:
        return f"the session was changed (line {changed.begin[1]})"
    return _pause(ctx, [granted, *between, refused])


def _pause(ctx: Context, talk: list[Exchange]) -> str:
    """A pause in which a session runs out (S3, ISO 14229-2:2013, 7.2 (M))."""
    if ctx.record.capture(talk[0].capture).survey.summary.time_kind is TimeKind.NONE:
        return ""
    longest = max(after.begin_ns - before.end_ns for before, after in pairwise(talk))
    return f"nothing was asked for {longest / 1e9:.1f} s" if longest > ctx.record.limits.s3_server_ns else ""
