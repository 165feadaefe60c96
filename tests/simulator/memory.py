"""What a module keeps: blocks of memory, values under identifiers, fault codes."""

from __future__ import annotations

import hashlib
import zlib
from dataclasses import dataclass, field


def image(text: str, size: int) -> bytes:
    """Bytes that look random and can be made again: SHA-256 of text and a counter, joined and cut."""
    out = bytearray()
    counter = 0
    while len(out) < size:
        out += hashlib.sha256(text.encode() + counter.to_bytes(4, "big")).digest()
        counter += 1
    return bytes(out[:size])


def crc32(data: bytes) -> int:
    """CRC-32 as in ISO 3309 and zlib."""
    return zlib.crc32(data)


def crc16(data: bytes) -> int:
    """CRC-16, polynomial 1021, start FFFF, not reflected (ITU-T V.41 polynomial)."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ (0x1021 if crc & 0x8000 else 0)) & 0xFFFF
    return crc


@dataclass
class Block:
    """A part of the memory that is downloaded as a whole."""

    name: str
    number: int  # how routines name it
    address: int
    size: int
    content: bytearray
    in_ram: bool = False
    erased: bool = False
    valid: bool = True
    received: int = 0  # bytes of the running or last download

    @classmethod
    def holding(cls, name: str, number: int, address: int, content: bytes) -> Block:
        """A programmed, valid block."""
        return cls(name, number, address, len(content), bytearray(content), received=len(content))

    @classmethod
    def ram(cls, name: str, number: int, address: int, size: int) -> Block:
        """Working memory for a helper program: empty at every start."""
        return cls(name, number, address, size, bytearray(size), in_ram=True, erased=True, valid=False)

    def erase(self) -> None:
        """All FF, nothing valid."""
        self.content = bytearray(b"\xff" * self.size)
        self.erased, self.valid, self.received = True, False, 0

    def truth(self) -> dict[str, object]:
        """What it holds, for the truth file."""
        return {
            "name": self.name,
            "size": self.size,
            "crc32": f"{crc32(bytes(self.content)):08X}",
            "complete": self.received == self.size,
            "valid": self.valid,
        }


@dataclass
class Values:
    """Identifiers: what is stored, what only waits to be stored at the next reset, what the store does wrong."""

    stored: dict[int, bytes]
    waiting: dict[int, bytes] = field(default_factory=dict)
    loses: set[int] = field(default_factory=set)  # fault: these are not stored at the next reset
    spoils: dict[int, bytes] = field(default_factory=dict)  # fault: stored as this instead

    def read(self, identifier: int) -> bytes | None:
        """The value as the module answers it now."""
        return self.waiting.get(identifier, self.stored.get(identifier))

    def write(self, identifier: int, value: bytes) -> None:
        """Accepted; stored at the next orderly reset."""
        self.waiting[identifier] = value

    def store(self) -> None:
        """An orderly reset: everything that waits is stored, faults apart."""
        for identifier, value in self.waiting.items():
            if identifier in self.loses:
                continue
            self.stored[identifier] = self.spoils.get(identifier, value)
        self.forget()

    def forget(self) -> None:
        """Power went away: what waited is gone."""
        self.waiting = {}
