"""Many values looked for at once: their first four bytes as numbers, then the whole."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

import numpy as np

#: Shorter values are replaced where their meaning is known only: elsewhere they stand by chance.
LEAST: Final = 4
#: Shorter data are looked through byte by byte, which is quicker there.
_SHORT: Final = 256


class Search:
    """Finds any of the values; where several begin at one place, the longest."""

    def __init__(self, values: Iterable[bytes]) -> None:
        self._by_start: dict[bytes, list[bytes]] = {}
        for value in sorted({one for one in values if len(one) >= LEAST}, key=len, reverse=True):
            self._by_start.setdefault(value[:LEAST], []).append(value)
        self._starts = np.array(sorted(int.from_bytes(one, "big") for one in self._by_start), dtype=np.uint32)

    def find(self, data: bytes) -> Iterator[tuple[int, int]]:
        """First and last place (excluded) of each value found, in order, none over another."""
        done = 0
        for at in self._candidates(data):
            if at < done:
                continue
            for value in self._by_start.get(data[at : at + LEAST], ()):
                if data.startswith(value, at):
                    done = at + len(value)
                    yield at, done
                    break

    def _candidates(self, data: bytes) -> Iterable[int]:
        if not self._by_start or len(data) < LEAST:
            return ()
        if len(data) < _SHORT:
            return range(len(data) - LEAST + 1)
        octets = np.frombuffer(data, dtype=np.uint8).astype(np.uint32)
        starts = octets[:-3] << 24 | octets[1:-2] << 16 | octets[2:-1] << 8 | octets[3:]
        found = np.searchsorted(self._starts, starts).clip(max=len(self._starts) - 1)
        hits: list[int] = np.flatnonzero(self._starts[found] == starts).tolist()
        return hits
