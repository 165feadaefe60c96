"""Outputs that a tester controls: which orders a module took, and whether it is shown to have its outputs back.

Control ends with its return, with the default session and with a restart. A session that may have run out by itself is
no proof of that. Orders that only ask for a state (KWP2000, 01-03 and 09) control nothing.
Source: ISO 14229-1:2020, 13.2 (M); ISO 14230-3 (M); GMW3110 1.6 (M).
"""

from __future__ import annotations

from typing import NamedTuple

from analysis.exchanges import Exchange
from analysis.story import Story, is_restart
from canlog.services.dialects import GMW, KWP
from canlog.services.traits import DEFAULT_SESSION, Act

RETURN_CONTROL = 0x00
ONLY_ASKS = frozenset({0x01, 0x02, 0x03, 0x09})
BY_IDENTIFIER = 0x2F


class Controlled(NamedTuple):
    """An order that the module took; ``is_released``: shown behind it."""

    order: Exchange
    is_released: bool

    @property
    def text(self) -> str:
        """``2F F032``."""
        return f"{self.order.service:02X} {_output(self.order).hex().upper()}"


def controlled_outputs(story: Story) -> list[Controlled]:
    """The last accepted order for each output of a module, in order."""
    orders = {
        (item.service, _output(item)): item
        for item in story.exchanges
        if item.act is Act.CONTROL and item.positive and _takes(item)
    }
    return [Controlled(item, _is_released(item, story)) for item in orders.values()]


def _output(item: Exchange) -> bytes:
    return item.told[1:3] if item.service == BY_IDENTIFIER else item.told[1:2]


def _parameter(item: Exchange) -> int | None:
    """What is to be done with the output; GMW3110 has no such byte."""
    at = 1 + len(_output(item))
    return item.told[at] if len(item.told) > at else None


def _takes(item: Exchange) -> bool:
    if item.dialect == GMW:
        return not _returns_all(item)
    parameter = _parameter(item)
    return parameter != RETURN_CONTROL and not (item.dialect == KWP and parameter in ONLY_ASKS)


def _returns_all(item: Exchange) -> bool:
    """GMW3110: packet 00 gives every output back."""
    return item.dialect == GMW and _output(item) == b"\0"


def _is_released(order: Exchange, story: Story) -> bool:
    start = story.start_after(order.end)
    return start is not None or any(_releases(item, order) for item in story.after(order.end))


def _releases(item: Exchange, order: Exchange) -> bool:
    if not item.positive:
        return False
    if is_restart(item) or (item.act is Act.SESSION and item.session == DEFAULT_SESSION):
        return True
    if item.act is not Act.CONTROL or item.service != order.service:
        return False
    is_same = _output(item) == _output(order) and item.dialect != GMW and _parameter(item) == RETURN_CONTROL
    return is_same or _returns_all(item)
