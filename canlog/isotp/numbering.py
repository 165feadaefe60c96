"""Small numbers for the ids of a capture: tens of ids in millions of frames.

A table indexed by a few bits of the key finds the number of nearly every frame at once (ten times as fast as
a search in the sorted keys); only keys that fall on an occupied place are searched for.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np

from canlog.frames import Ints

_PLACE_BITS: Final = 15


class Numbering:
    """Numbers keys from 0 in order of first sight."""

    def __init__(self, keys: Iterable[int] = ()) -> None:
        self.keys: list[int] = []  # by number
        self._known: Ints = np.zeros(1, dtype=np.int64)  # by number; the last is no key
        self._at: Ints = np.full(1 << _PLACE_BITS, -1, dtype=np.int64)  # number by place
        self._sorted: Ints = np.zeros(0, dtype=np.int64)
        self._order: Ints = np.zeros(0, dtype=np.int64)
        self._add(list(keys))

    def of(self, keys: Ints) -> Ints:
        """shape (n,): the number of each key, -1 for unknown ones."""
        numbers = self._at.take(_places(keys))
        strangers = np.flatnonzero(self._known[numbers] != keys)
        if len(strangers):
            numbers[strangers] = self._search(keys[strangers])
        return numbers

    def learn(self, keys: Ints) -> Ints:
        """The same, unknown keys get the next numbers."""
        numbers = self.of(keys)
        unknown = numbers < 0
        if unknown.any():
            self._add(dict.fromkeys(keys[unknown].tolist()))
            numbers[unknown] = self._search(keys[unknown])
        return numbers

    def _search(self, keys: Ints) -> Ints:
        if not len(self._sorted):
            return np.full(len(keys), -1, dtype=np.int64)
        place = np.minimum(np.searchsorted(self._sorted, keys), len(self._sorted) - 1)
        return np.where(self._sorted[place] == keys, self._order[place], -1)

    def _add(self, keys: Iterable[int]) -> None:
        self.keys += keys
        known = np.array(self.keys, dtype=np.int64)
        self._known = np.append(known, -1)
        self._order = np.argsort(known)
        self._sorted = known[self._order]
        self._at[_places(known)] = np.arange(len(known))


def _places(keys: Ints) -> Ints:
    """11-bit ids keep their low bits; channel, kind and the rest of long ids are folded in."""
    places: Ints = (keys ^ keys >> 11 ^ keys >> 22) & ((1 << _PLACE_BITS) - 1)
    return places
