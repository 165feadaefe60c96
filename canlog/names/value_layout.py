"""How the user says an identifier's bytes are to be read: numbers, text, BCD, hex, in order.

Nothing here raises on the bytes of a capture: what is cut off or no BCD is a value that says so and is not
in range. Scaling is done in decimal, so that 5151 × 0.001 is 5.151.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

#: Bytes of each number type; the letter says whether it is signed.
NUMBER_TYPES: Final = {f"{sign}{8 * size}": size for sign in "us" for size in (1, 2, 3, 4)}
TEXT_TYPES: Final = ("ascii", "bcd", "hex")
#: Fill bytes around text that are no part of it.
FILL: Final = b"\x00\xff "


@dataclass(frozen=True, slots=True)
class Value:
    """One value of an identifier. ``index`` counts from 0 within a repeated field, None for a single one.

    ``value`` is None where the bytes cannot be read as the type says; ``in_range`` is None where no range is
    given and the bytes can be read.
    """

    name: str
    index: int | None
    raw: bytes
    value: int | float | str | None
    unit: str
    text: str
    in_range: bool | None


@dataclass(frozen=True, slots=True)
class ValueField:
    """One line of a layout: ``count`` values of one type; ``size`` is the bytes of one of them."""

    name: str
    type: str
    size: int
    count: int = 1
    little_endian: bool = False
    scale: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)
    unit: str = ""
    range: tuple[Decimal, Decimal] | None = None
    ignore: bool = False

    @property
    def total(self) -> int:
        """Bytes of all its values."""
        return self.size * self.count

    def decode(self, data: bytes) -> list[Value]:
        """The values in ``data``, which may be shorter than ``total``."""
        starts = range(0, self.total, self.size)
        return [self._one(data[at : at + self.size], None if self.count == 1 else i) for i, at in enumerate(starts)]

    def _one(self, raw: bytes, index: int | None) -> Value:
        if len(raw) < self.size:
            return self._unreadable(raw, index, f"cut off: {self.size} bytes are due, {len(raw)} are there")
        if self.type in NUMBER_TYPES:
            return self._number(raw, index)
        if self.type == "bcd" and not raw.hex().isdecimal():
            return self._unreadable(raw, index, f"no BCD: {raw.hex().upper()}")
        if self.type == "ascii":
            text = raw.strip(FILL).decode("ascii", "backslashreplace")
            readable = text.isascii() and "\\x" not in text and text.isprintable()
            return Value(self.name, index, raw, text, self.unit, text, None if readable else False)
        text = raw.hex().upper()
        return Value(self.name, index, raw, text, self.unit, text, None)

    def _number(self, raw: bytes, index: int | None) -> Value:
        whole = int.from_bytes(raw, "little" if self.little_endian else "big", signed=self.type.startswith("s"))
        exact = whole * self.scale + self.offset
        value = int(exact) if self.scale == self.scale.to_integral() and exact == int(exact) else float(exact)
        in_range = None if self.range is None else self.range[0] <= exact <= self.range[1]
        return Value(self.name, index, raw, value, self.unit, f"{exact:f} {self.unit}".rstrip(), in_range)

    def _unreadable(self, raw: bytes, index: int | None, text: str) -> Value:
        return Value(self.name, index, raw, None, self.unit, text, False)


def decode_values(layout: Sequence[ValueField], data: bytes) -> tuple[Value, ...]:
    """Every value of ``data``; bytes beyond the layout are a value ``rest`` that is not in range."""
    values: list[Value] = []
    at = 0
    for one in layout:
        values.extend(one.decode(data[at : at + one.total]))
        at += one.total
    if data[at:]:
        left = data[at:].hex().upper()
        values.append(Value("rest", None, data[at:], left, "", left, False if layout else None))
    return tuple(values)


def compared(layout: Sequence[ValueField], data: bytes) -> bytes:
    """The bytes of ``data`` that count when two records are compared: those of ignored fields become 00."""
    kept = bytearray(data)
    at = 0
    for one in layout:
        if one.ignore:
            end = min(at + one.total, len(kept))
            kept[at:end] = bytes(max(end - at, 0))
        at += one.total
    return bytes(kept)
