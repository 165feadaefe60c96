"""The tester kept still for too long in a session that needs to be kept alive.

What is seen: in another than the default session no request reached the module for longer than 5 s (S3), not even
tester present, while it owed no answer. What the next request met tells whether the session was lost.
What it can mean: The tester was held up by a message box, its sleep mode or its network; its tester present went to
another bus or was not recorded.
How to tell it from look-alikes: a recorder that lost frames or paused; a module that keeps its session for longer
What to try: switch the sleep mode of the tester's computer off; let the tester send tester present; ask for the
session and the access again before the next step
Caution: none
Evidence: the last frame before the pause and the request behind it. Source: S3, ISO 14229-2:2013, 7.2 (M).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from heapq import merge
from typing import NamedTuple

from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Answer, Exchange, Place
from analysis.operations.session import SESSION_BOUND
from analysis.story import Story
from analysis.words import Confidence, Evidence, Severity
from canlog.frames import TimeKind
from canlog.services.traits import DEFAULT_SESSION, Act

#: Refusals that a module back in its default session gives (ISO 14229-1:2020, annex A.1 (M)).
NOT_IN_THIS_SESSION = frozenset({0x33, 0x7E, 0x7F})
ENTERS_ANEW = (Act.SESSION, Act.RESET)


class Pause(NamedTuple):
    """No request between these two places of one capture."""

    before: Place
    after: Place
    length_ns: int


@check("session-gap", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    to_all = _to_all(ctx)
    for story in ctx.stories:
        heard = merge(ctx.own(story), to_all.get(story.link.channel, ()), key=lambda item: item.begin)
        for pause in _pauses(ctx, heard):
            if not _was_in_session(story, pause):
                continue
            lost = _was_lost(story, pause.after)
            text = f"{story.label}: {pause.length_ns / 1e9:.1f} s without a request; {_WHAT_CAME[lost]}."
            shown = Evidence(pause.before[0], (pause.before[1], pause.after[1]), "before and behind the pause")
            yield Seen(Confidence.MEDIUM, (shown,), text, severity=Severity.NOTE if lost is False else None)


_WHAT_CAME = {
    True: "the session was lost",
    False: "the session was kept all the same",
    None: "whether the session was lost is not shown",
}


def _to_all(ctx: Context) -> dict[str, list[Exchange]]:
    """By channel: requests to all modules, whoever answered them. They keep every session."""
    found: dict[str, list[Exchange]] = {}
    for item in ctx.record.exchanges:
        if item.functional or item.link.functional:
            found.setdefault(item.link.channel, []).append(item)
    return found


def _pauses(ctx: Context, heard: Iterable[Exchange]) -> Iterator[Pause]:
    """S3 begins anew with the end of each answer: a module that is at work loses no session."""
    timed = {item.number for item in ctx.record.captures if item.survey.summary.time_kind is not TimeKind.NONE}
    last: Exchange | None = None
    for item in heard:
        if item.capture not in timed:
            continue
        if last is not None and last.capture == item.capture:
            length_ns = item.begin_ns - last.end_ns
            if length_ns > ctx.record.limits.s3_server_ns:
                yield Pause(last.end, item.begin, length_ns)
            if item.end_ns < last.end_ns:
                continue  # it lies within the one before
        last = item


def _was_in_session(story: Story, pause: Pause) -> bool:
    """Another session than the default one, and the next request counts on it."""
    following = next((item for item in story.own if item.begin >= pause.after), None)
    if following is None or following.capture != pause.after[0] or following.act in ENTERS_ANEW:
        return False
    restart = story.start_after(pause.before)
    if restart is not None and restart.place <= following.begin:
        return False
    return story.before(following).session not in (None, DEFAULT_SESSION)


def _was_lost(story: Story, place: Place) -> bool | None:
    """What the first request says that only works in that session; None where there is none."""
    for item in story.own:
        if item.begin < place or item.capture != place[0]:
            continue
        if item.act in ENTERS_ANEW:
            return None
        if item.outcome is Answer.NEGATIVE and item.nrc in NOT_IN_THIS_SESSION:
            return True
        if item.positive and item.act in SESSION_BOUND:
            return False
    return None
