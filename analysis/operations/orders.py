"""Orders to keep quiet (28) or to store no faults (85): which one a module is still under.

An order ends with its counter-order, a reset, the default session, or the session's time-out.
Source: ISO 14229-1:2020, 10.5 and 10.8 (M).
"""

from __future__ import annotations

from collections.abc import Collection

from analysis.exchanges import Answer, Exchange, Place
from analysis.story import Story

TAKEN = (Answer.POSITIVE, Answer.SUPPRESSED)
COMMUNICATION_CONTROL, FAULT_SETTING = 0x28, 0x85
MESSAGES_OFF, STORING_OFF = (0x01, 0x02, 0x03, 0x04), (0x02,)
DEFAULT_SESSIONS = (0x01, 0x81)
#: A module falls back to its default session so long after the last request. ISO 14229-2, S3 (M).
S3_NS = 5_000_000_000


def control_of(exchange: Exchange) -> int:
    """Sub-function of an order, without the bit that asks for silence; -1 where there is none."""
    return exchange.told[1] & 0x7F if len(exchange.told) > 1 else -1


def is_order(exchange: Exchange, service: int, off: Collection[int]) -> bool:
    """An accepted order to be quiet."""
    return exchange.service == service and exchange.outcome in TAKEN and control_of(exchange) in off


def ends_order(exchange: Exchange, service: int, off: Collection[int]) -> bool:
    """What lifts an order: the counter-order, a reset, the default session."""
    if exchange.outcome not in TAKEN:
        return False
    if exchange.service == service:
        return control_of(exchange) not in off
    return exchange.service == 0x11 or (exchange.service == 0x10 and control_of(exchange) in DEFAULT_SESSIONS)


def order_in_force(story: Story, place: Place, service: int, off: Collection[int]) -> Exchange | None:
    """The order that a module is still under at a place of the same capture; None when it is under none."""
    order: Exchange | None = None
    talked_ns = 0
    for item in story.exchanges:
        if item.begin >= place:
            break
        if order is not None and (item.capture != order.capture or item.begin_ns - talked_ns > S3_NS):
            order = None
        if is_order(item, service, off):
            order = item
        elif order is not None and ends_order(item, service, off):
            order = None
        talked_ns = item.end_ns
    if order is None or order.capture != place[0]:
        return None
    start = story.start_after(order.end)
    return order if start is None or start.place > place else None
