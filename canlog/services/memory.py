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

#: Fewer bytes than these are too little to take for a place in memory what may mean anything.
_ADDRESS_BYTES, _SIZE_BYTES = range(3, 6), range(2, 6)


def memory_in(option: bytes) -> range | None:
    """The memory that bytes of a maker's own layout name, where they are just a format, an address and a size."""
    size_bytes, address_bytes = (option[0] >> 4, option[0] & 0xF) if option else (0, 0)
    if address_bytes not in _ADDRESS_BYTES or size_bytes not in _SIZE_BYTES:
        return None
    if len(option) != 1 + address_bytes + size_bytes:
        return None
    address = int.from_bytes(option[1 : 1 + address_bytes], "big")
    return range(address, address + int.from_bytes(option[1 + address_bytes :], "big"))
