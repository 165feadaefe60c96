"""The transfers of a job as the checks look at them."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import NamedTuple

from analysis.checks.registry import Context
from analysis.exchanges import Answer, Exchange, Place
from analysis.operations.attempts import Attempt, attempts_of
from analysis.operations.model import Kind, Operation
from analysis.operations.routines import RoutineCall, read_call
from analysis.story import Story
from canlog.services.dialects import UDS
from canlog.services.traits import Act, BlockCounter, traits_of


def attempts(ctx: Context) -> Iterator[tuple[Story, Attempt, bool]]:
    """Every attempt at a transfer, and whether a later good one at the same memory replaces it."""
    for story in ctx.stories:
        found = attempts_at(ctx, story)
        for attempt in found:
            end = attempt.end
            later = [item for item in found if item.begin > end and item.same_thing(attempt)]
            yield story, attempt, any(item.ended is not None for item in later)


def attempts_at(ctx: Context, story: Story) -> list[Attempt]:
    """Every attempt at one module, found once for all checks."""
    return attempts_of(story, ctx.record)


def routine_calls(ctx: Context, story: Story) -> list[RoutineCall]:
    """The routines asked of a module, in order."""
    found = (read_call(exchange, story.label, ctx.record.names) for exchange in ctx.own(story))
    return [call for call in found if call is not None]


def parts(ctx: Context, story: Story) -> list[Operation]:
    """Downloads of lasting parts to a module that no later attempt replaced."""
    return [
        item
        for item in ctx.standing(Kind.DOWNLOAD)
        if item.link.key == story.link.key and not item.details["driver"]
    ]  # fmt: skip


class Programmed(NamedTuple):
    """Downloads to a module that ended: in front of ``begin`` the old software speaks, behind ``restart`` the new."""

    done: list[Operation]
    begin: Place
    restart: Place


def programmed(ctx: Context, story: Story) -> Programmed | None:
    """None where no download ended, or no restart is seen behind the last of them."""
    done = [item for item in parts(ctx, story) if item.details["ended"]]
    start = story.start_after(done[-1].end) if done else None
    return None if start is None else Programmed(done, done[0].begin, start.place)


def ended_by(ctx: Context, story: Story, item: Operation) -> Exchange:
    """The exit of a download that ended, or its last block where the dialect has no exit."""
    numbers = frozenset(item.exchanges)  # thousands, one a block
    own = [one for one in ctx.own(story) if one.number in numbers and one.positive]
    return [one for one in own if one.act in (Act.EXIT, Act.BLOCK)][-1]


def counter_of(block: Exchange) -> int | None:
    """The block counter of a TransferData exchange, taken from the answer when the request is missing.

    None where the dialect does not always count.
    """
    if traits_of(block.dialect).block_counter is not BlockCounter.ALWAYS:
        return None
    told = block.asked if len(block.asked) > 1 else block.answered if block.positive else b""
    return told[1] if len(told) > 1 else None


def block_length(attempt: Attempt) -> int | None:
    """How long a request with a block may be, by the answer to the request; None where UDS does not say it."""
    request = attempt.request
    if request is None or not request.positive or request.dialect != UDS:
        return None
    length = request.answer.get("max_number_of_block_length")
    return length if isinstance(length, int) else None


def wrong_echoes(ctx: Context, story: Story) -> Iterator[tuple[Exchange, Exchange]]:
    """Blocks that were answered with the counter of another one: the block, and the answer behind it."""
    blocks = (item for item in ctx.own(story) if item.act is Act.BLOCK)
    return (pair for pair in pairwise(blocks) if _is_wrong_echo(*pair))


def _is_wrong_echo(asked: Exchange, answer: Exchange) -> bool:
    """A block without its answer, then at once an answer without its block, of another counter."""
    if traits_of(asked.dialect).block_counter is not BlockCounter.ALWAYS or asked.capture != answer.capture:
        return False
    if asked.response is not None or answer.request is not None or not answer.positive:
        return False
    return len(asked.asked) > 1 and len(answer.answered) > 1 and asked.asked[1] != answer.answered[1]


def neighbours(attempt: Attempt) -> Iterator[tuple[Exchange, Exchange]]:
    """Each block with the one after it, refused ones left out."""
    yield from pairwise(block for block in attempt.blocks if block.outcome is not Answer.NEGATIVE)


def place_of(story: Story, attempt: Attempt) -> str:
    """``DUC, transfer to 00020000``."""
    where = "" if attempt.address is None else f" to {attempt.address:08X}"
    return f"{story.label}, transfer{where}"
