"""Total tables by ranges: every number of a domain has exactly one entry, "reserved" included.

A standard divides its numbers into single values and ranges. Written as rows ``(first, last, entry)`` a
hole or an overlap is a mistake that the constructor refuses, so no number can fall through a condition.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

Entry = TypeVar("Entry")


class Owner(StrEnum):
    """Who decides what a number means."""

    STANDARD = "standard"
    RESERVED = "reserved"
    MAKER = "vehicle maker"
    SUPPLIER = "system supplier"
    LEGISLATION = "legislation"


@dataclass(frozen=True, slots=True)
class Code:
    """One value of an enumeration: the standard's name and who owns it."""

    name: str
    owner: Owner = Owner.STANDARD

    def __str__(self) -> str:
        return self.name


RESERVED = Code("reserved", Owner.RESERVED)
MAKER = Code("vehicle maker specific", Owner.MAKER)
SUPPLIER = Code("system supplier specific", Owner.SUPPLIER)


class RangeTable(Generic[Entry]):
    """Rows ``(first, last, entry)`` that cover 0 … ``last_number`` without hole or overlap.

    Raises:
        ValueError: the rows leave a hole or overlap (a mistake in our own table).
    """

    def __init__(self, last_number: int, rows: Iterable[tuple[int, int, Entry]]) -> None:
        self.rows = tuple(sorted(rows, key=lambda row: row[0]))
        expected = 0
        for first, last, entry in self.rows:
            if first != expected or last < first:
                raise ValueError(f"row {first:X}-{last:X} {entry}: a row beginning at {expected:X} was due")
            expected = last + 1
        if expected != last_number + 1:
            raise ValueError(f"the table ends at {expected - 1:X}, not at {last_number:X}")
        self._firsts = [first for first, _, _ in self.rows]

    def __getitem__(self, number: int) -> Entry:
        if not 0 <= number < len(self):
            raise KeyError(number)
        return self.rows[bisect_right(self._firsts, number) - 1][2]

    def __len__(self) -> int:
        return self.rows[-1][1] + 1

    def __iter__(self) -> Iterator[int]:
        return iter(range(len(self)))

    def name(self, number: int) -> str:
        """The entry's text, for a field of a decoded message."""
        return str(self[number])


def singles(names: dict[int, str], owner: Owner = Owner.STANDARD) -> list[tuple[int, int, Code]]:
    """Rows of one number each."""
    return [(number, number, Code(name, owner)) for number, name in names.items()]
