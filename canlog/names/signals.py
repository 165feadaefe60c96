"""Signals of cyclic messages: where a value lies in a frame's bytes.

Of a whole bus description only the supply voltage is kept: a signal in V or mV whose name speaks of battery or
supply, and not of a cell, a sensor or a high voltage. A wrong pick would raise a false alarm, so what is
not clear is left out. The words are common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

_SUPPLY: Final = frozenset(
    {"battery", "batt", "bat", "supply", "ubat", "ubatt", "vbat", "vbatt", "kl30", "kl15", "terminal30", "terminal15"}
)
_OTHERS: Final = frozenset(
    {
        "cell",
        "hv",
        "high",
        "traction",
        "sensor",
        "reference",
        "ref",
        "min",
        "max",
        "limit",
        "target",
        "setpoint",
        "status",
    }
)
#: A supply of 12 V or 24 V reads less than this, whatever happens.
_MOST_VOLTS: Final = 60
_MILLIVOLTS: Final = {"v": 1000, "volt": 1000, "volts": 1000, "mv": 1}


@dataclass(frozen=True, slots=True)
class SignalName:
    """A value in the frames of an id. ``start`` counts bits as DBC does: of the lowest, or with ``big_endian`` of the
    highest bit of the value, within bytes from the lowest."""

    can_id: int
    extended: bool
    name: str
    start: int
    length: int
    big_endian: bool = False
    signed: bool = False
    scale: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)
    unit: str = ""
    minimum: Decimal | None = None
    maximum: Decimal | None = None

    def raw(self, data: bytes) -> int | None:
        """The bits as a number; None where the frame is too short."""
        n_bits = 8 * len(data)
        first = self.start // 8 * 8 + 7 - self.start % 8 if self.big_endian else self.start
        if first + self.length > n_bits:
            return None
        if self.big_endian:
            value = int.from_bytes(data, "big") >> (n_bits - first - self.length)
        else:
            value = int.from_bytes(data, "little") >> first
        value &= (1 << self.length) - 1
        is_negative = self.signed and value >> (self.length - 1)
        return value - (1 << self.length) if is_negative else value

    def decode(self, data: bytes) -> Decimal | None:
        """The value in its unit; None where the frame is too short, says "not available" or what cannot be."""
        raw = self.raw(data)
        if raw is None or (not self.signed and raw == (1 << self.length) - 1):
            return None
        value = raw * self.scale + self.offset
        if self.minimum is not None and self.maximum is not None and not self.minimum <= value <= self.maximum:
            return None
        return value

    def millivolts(self, data: bytes) -> int | None:
        """The same of a voltage; None as well where it is none of a supply."""
        value, factor = self.decode(data), _MILLIVOLTS.get(self.unit.lower())
        if value is None or factor is None or not 0 <= value * factor < _MOST_VOLTS * 1000:
            return None
        return round(value * factor)


def is_supply(name: str, unit: str) -> bool:
    """Whether a name and a unit speak of the supply voltage of a 12 V or 24 V system."""
    words = {word.lower() for word in re.findall(r"[A-Z]+(?=[A-Z][a-z]|\d|\b|_)\d*|[A-Z]?[a-z]+\d*|\d+", name)}
    return unit.lower() in _MILLIVOLTS and bool(words & _SUPPLY) and not words & _OTHERS
