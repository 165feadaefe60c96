"""Orders to keep quiet or to store no faults, and what ends them."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator

from analysis.checks.registry import Context
from analysis.exchanges import Exchange
from analysis.operations.model import Kind
from analysis.operations.orders import S3_NS, Gives, ends_order, is_order, order_in_force
from analysis.story import Story, is_restart
from analysis.words import BROKEN
from canlog.services.traits import PROGRAMMING_SESSION, Act

#: Modules in a row that a line of text still holds.
LONGEST_LIST = 60


def left_off(ctx: Context, gives: Gives) -> Iterator[Exchange]:
    """Orders that nothing ended: no counter-order, no default session, no restart, no time-out of the session.

    One of each link. Where programming stopped half-way the end of the order is not due yet.
    """
    for exchange in _last_orders(ctx, gives):
        later = [item for item in ctx.record.exchanges if item.begin > exchange.begin and _reaches(item, exchange)]
        if any(ends_order(item, gives) for item in later) or _job_broke_off(ctx):
            continue
        end = ctx.end_ns(exchange.capture)
        talk = [item.end_ns for item in (exchange, *later) if item.capture == exchange.capture]
        if end is None or end - max(talk) < S3_NS:
            yield exchange


def _last_orders(ctx: Context, gives: Gives) -> list[Exchange]:
    orders = [item for item in ctx.record.exchanges if is_order(item, gives)]
    return list({item.link.key: item for item in orders}.values())


def _reaches(item: Exchange, order: Exchange) -> bool:
    """It was said to everybody the order was said to: to the same module, or to all on the channel."""
    if item.link.key == order.link.key:
        return True
    return (item.functional or item.link.functional) and item.link.channel == order.link.channel


def _job_broke_off(ctx: Context) -> bool:
    """Programming failed or broke off, or the recording ends while it is still going on."""
    broken = any(item.outcome.word in BROKEN and not item.details["driver"] for item in ctx.standing(Kind.DOWNLOAD))
    return broken or any(_is_programming(story) for story in ctx.stories)


def _is_programming(story: Story) -> bool:
    """Its last word was said in the programming session, in which something was downloaded."""
    last = story.own[-1]
    if story.before(last).session != PROGRAMMING_SESSION or is_restart(last):
        return False
    start = story.last_start()
    return any(
        item.act is Act.BLOCK and story.before(item).session == PROGRAMMING_SESSION
        for item in story.own
        if start is None or item.begin > start.place
    )


def who_is_under(ctx: Context, order: Exchange, gives: Gives) -> str:
    """The modules that nothing freed from an order by the end of its capture: by name, or how many; else its link."""
    end = (order.capture, sys.maxsize)
    found = ((story.label, order_in_force(story, end, gives)) for story in ctx.stories)
    return said_modules(label for label, now in found if now is not None and now.number == order.number) or (
        order.link.key
    )


def said_modules(labels: Iterable[str]) -> str:
    """``VGW, BRC``, or how many where the list would be long."""
    found = list(labels)
    text = ", ".join(found)
    return text if len(text) <= LONGEST_LIST else f"{len(found)} modules"
