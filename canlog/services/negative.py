"""The negative response: exactly ``7F``, the service asked, and why not.

In ``7F x y`` x is always a request's service: ``7F 38 78`` is a pending file transfer, while a message that
begins with 78 is the positive answer to 38.

Source: ISO 14229-1:2020, 8.4 (M); udsoncan 1.26.1, scapy 2.8.0.
"""

from __future__ import annotations

from typing import Final

from canlog.names.nrc import NRCS, Nrc
from canlog.names.ranges import RangeTable
from canlog.services.layout import Item, Layout, named, note, u8

NEGATIVE_RESPONSE: Final = 0x7F
RESPONSE_PENDING: Final = 0x78


def layout(table: RangeTable[Nrc], *more: Item) -> Layout:
    """The negative response with the codes of one dialect; ``more`` stands behind the code."""
    return Layout(
        u8("requested_service"),
        note("requested_service", lambda value: bool(value & 0x40), "no request has bit 6 set"),
        u8("negative_response_code", says=named(lambda code: table[code].name)),
        note("negative_response_code", lambda value: value == 0, "00 is no negative response code"),
        *more,
    )


#: UDS.
LAYOUT: Final = layout(NRCS)
