"""What a vehicle side answers to routing activation, to a header and to a diagnostic message.

Source: ISO 13400-2:2019, tables 19, 25, 48 and 50 (M); values as in doipclient 1.2.2 (messages.py) and scapy 2.8.0.
"""

from __future__ import annotations

from typing import Final

ACTIVATED: Final = 0x10
CONFIRMATION_REQUIRED: Final = 0x11

ACTIVATION: Final = {
    0x00: "unknown tester address",
    0x01: "no connection is free",
    0x02: "another tester address was activated on this connection",
    0x03: "the tester address is active on another connection",
    0x04: "authentication is missing",
    0x05: "confirmation was refused",
    0x06: "unknown kind of activation",
    0x07: "an encrypted connection is required",
    ACTIVATED: "activated",
    CONFIRMATION_REQUIRED: "to be confirmed in the vehicle first",
}

MESSAGE_REFUSED: Final = {
    0x02: "wrong tester address",
    0x03: "unknown module address",
    0x04: "message too long",
    0x05: "out of memory",
    0x06: "module not reachable",
    0x07: "unknown network",
    0x08: "transport error towards the module",
}

#: Of these: the gateway tried, and the module did not answer.
MODULE_SILENT: Final = frozenset({0x06, 0x08})

HEADER_REFUSED: Final = {
    0x00: "wrong version bytes",
    0x01: "unknown kind of message",
    0x02: "message too long",
    0x03: "out of memory",
    0x04: "wrong length",
}


def said(table: dict[int, str], code: int) -> str:
    """A code with its meaning."""
    return f"{table.get(code, 'reserved or of the maker')} ({code:02X})"
