"""Where in memory and how much: the address and length format that 23, 34, 35, 3D and 2C share.

The **high** nibble of addressAndLengthFormatIdentifier counts the bytes of the size, the low nibble those
of the address: 24 is a 4-byte address and a 2-byte size.

Source: ISO 14229-1:2020, annex H.1 (M); udsoncan 1.26.1, scapy 2.8.0.
"""

from __future__ import annotations

from typing import Final

from canlog.services.layout import Item, bits, decimal, u8, uint


def size_text(value: int) -> str:
    """``00006000 (24576 bytes)`` without guessing the width: hex and tens."""
    return f"{value:X} ({value} bytes)"


FORMAT: Final[Item] = u8(
    "address_and_length_format_identifier",
    parts=(bits("memory_size_length", 7, 4, decimal), bits("memory_address_length", 3, 0, decimal)),
)
RANGE: Final[tuple[Item, ...]] = (
    uint("memory_address", "memory_address_length"),
    uint("memory_size", "memory_size_length", says=size_text),
)
LOCATION: Final[tuple[Item, ...]] = (FORMAT, *RANGE)
