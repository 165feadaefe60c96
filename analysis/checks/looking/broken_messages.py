"""Messages that did not get through, by the reason that the transport gives."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from itertools import groupby

from analysis.checks.registry import Context, Seen
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import counted
from canlog.isotp.addressing import Direction
from canlog.isotp.messages import Message
from canlog.isotp.steps import REASONS

#: A first frame that nothing answered, and a receiver that only ever said wait.
NO_FLOW_CONTROL, ONLY_WAITS = "no-flow-control-and-no-data", "wait-then-silence"
WHO_SENT = {Direction.REQUEST: "the tester", Direction.RESPONSE: "the module"}


def broken(ctx: Context, reasons: Collection[str]) -> Iterator[tuple[int, Message]]:
    """Messages that ended for one of these reasons, with the number of their capture."""
    for capture in ctx.record.captures:
        yield from ((capture.number, item) for item in capture.messages if item.reason in reasons)


def see_broken(ctx: Context, found: Iterator[tuple[int, Message]], end: str) -> Iterator[Seen]:
    """One sighting for each link and direction; ``end`` says what became of the messages."""
    labels = {story.link.key: story.label for story in ctx.record.stories}
    by_side = sorted(found, key=lambda item: (item[1].link.key, item[1].direction.value))
    for (key, _), group in groupby(by_side, key=lambda item: (item[1].link.key, item[1].direction.value)):
        same = list(group)
        shown = tuple(
            Evidence(number, tuple(dict.fromkeys(one.lines)), f"{_head(one)}: {REASONS[one.reason]}")
            for number, one in same
        )
        sender = same[0][1].direction
        text = f"{labels.get(key, key)}: {counted(len(same), 'message')} of {WHO_SENT[sender]} {end}."
        mild = sender is Direction.RESPONSE  # the tester went without an answer: the module lost nothing
        yield Seen(Confidence.HIGH, shown, text, severity=Severity.NOTE if mild else None)


def _head(message: Message) -> str:
    """Length and service; nothing of the content."""
    return f"{message.data[:1].hex().upper()}, {counted(message.length, 'byte')}"
