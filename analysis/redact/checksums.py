"""The checksum of TCP and UDP after bytes of the payload were changed.

It is moved by what the payload changed, not worked out anew: a right one stays right, and one that was wrong stays so.

Source: RFC 1071, RFC 1624 (change without the rest of the packet), RFC 768 (0: no checksum), RFC 9293, 3.1.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from canlog.capture.ip import TCP, UDP, Datagram

_FIELD_AT: Final = {TCP: 16, UDP: 6}


def moved_checksum(datagram: Datagram, old: bytes, new: bytes) -> tuple[int, bytes]:
    """Where the checksum of a packet stands, and its bytes after the change; no bytes where none is kept.

    Args:
        datagram: what ``old`` carries.
        old: the IP packet.
        new: the same with other bytes in its payload.
    """
    at = datagram.head + _FIELD_AT[datagram.protocol]
    field = int.from_bytes(old[at : at + 2], "big")
    if (field == 0 and datagram.protocol == UDP) or field == _left_to_the_card(datagram):
        return at, b""
    end = datagram.start + len(datagram.payload)
    before, after = (_sum(packet[datagram.start : end]) for packet in (old, new))
    moved = ~_folded((~field & 0xFFFF) + (~before & 0xFFFF) + after) & 0xFFFF
    return at, (moved or (0xFFFF if datagram.protocol == UDP else 0)).to_bytes(2, "big")


def _left_to_the_card(datagram: Datagram) -> int:
    """What stands there where the network card is to finish it: the sum of addresses, protocol and length alone."""
    size = datagram.start - datagram.head + datagram.size
    return _folded(_sum(datagram.source + datagram.target) + datagram.protocol + size)


def _sum(data: bytes) -> int:
    """Of the 16-bit words, the last one filled up with zero."""
    words = np.frombuffer(data + bytes(len(data) % 2), dtype=">u2")
    return _folded(int(words.sum(dtype=np.int64)))


def _folded(total: int) -> int:
    while total > 0xFFFF:
        total = (total & 0xFFFF) + (total >> 16)
    return total
