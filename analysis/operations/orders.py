"""Orders to keep quiet or to store no faults, in any dialect: which one a module is still under.

An order ends with its counter-order, a reset, the default session (in the older dialects the stop of the session or
the return to normal mode), or the session's time-out.
Source: ISO 14229-1:2020, 10.5 and 10.8 (M); ISO 14230-3 (M); GMW3110 1.6 (M).
"""

from __future__ import annotations

from collections.abc import Callable

from analysis.exchanges import Answer, Exchange, Place
from analysis.story import Story
from canlog.services.traits import DEFAULT_SESSION, Act

TAKEN = (Answer.POSITIVE, Answer.SUPPRESSED)
#: ``traits.orders_quiet`` or ``traits.orders_no_faults``: whether a request gives the order, in its dialect.
Gives = Callable[[bytes, str], bool | None]
#: A module falls back to its default session so long after the last request. ISO 14229-2, S3 (M); as long in KWP2000
#: (P3, ISO 14230-2, M) and GMW3110 (M).
S3_NS = 5_000_000_000


def is_order(exchange: Exchange, gives: Gives) -> bool:
    """An accepted order."""
    return exchange.outcome in TAKEN and gives(exchange.told, exchange.dialect) is True


def ends_order(exchange: Exchange, gives: Gives) -> bool:
    """What lifts an order: the counter-order, a reset, the default session."""
    if exchange.outcome not in TAKEN:
        return False
    is_taken_back = gives(exchange.told, exchange.dialect) is False
    return is_taken_back or exchange.act is Act.RESET or exchange.session == DEFAULT_SESSION


def order_in_force(story: Story, place: Place, gives: Gives) -> Exchange | None:
    """The order that a module is still under at a place of the same capture; None when it is under none."""
    order: Exchange | None = None
    talked_ns = 0
    for item in story.exchanges:
        if item.begin >= place:
            break
        if order is not None and (item.capture != order.capture or item.begin_ns - talked_ns > S3_NS):
            order = None
        if is_order(item, gives):
            order = item
        elif order is not None and ends_order(item, gives):
            order = None
        talked_ns = item.end_ns
    if order is None or order.capture != place[0]:
        return None
    start = story.start_after(order.end)
    return order if start is None or start.place > place else None
