"""The frames of a table sorted by channel and id: one sort, shared by all who ask per id.

An error frame's id is a kind of its own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from canlog.frames import FrameFlag, FrameTable, Ints

_SLOT_BITS: Final = 16
_SPREAD: Final = np.uint64(0x9E3779B97F4A7C15)  # Fibonacci hashing: 2**64 over the golden ratio (Knuth, TAOCP 3, 6.4)
_WORD_BYTES: Final = 8
#: Keeps the first n bytes of a word, n from 0 to 8.
_FIRST: Final = np.array([(1 << 8 * n) - 1 for n in range(_WORD_BYTES + 1)], dtype=np.uint64)


@dataclass(frozen=True, slots=True, eq=False)
class ById:
    """Rows of a table in order of id, in source order within each.

    ``order`` (n,) rows; the rows of one id stand from ``starts[i]`` to before ``ends[i]`` and have the code
    ``codes[i]``.
    """

    order: Ints
    starts: Ints
    ends: Ints
    codes: Ints

    def groups(self) -> Iterator[tuple[int, int, int]]:
        """Code, start and end of each id."""
        return zip(self.codes.tolist(), self.starts.tolist(), self.ends.tolist(), strict=True)


class IdCodes:
    """Small numbers for the ids of a capture, the same in all its tables.

    Ids are looked up in a table of hashes; only those that are new, or that meet another one there, are sorted.
    """

    def __init__(self) -> None:
        self._codes: dict[int, int] = {}
        self._slot_key = np.full(1 << _SLOT_BITS, -1, dtype=np.int64)
        self._slot_code = np.zeros(1 << _SLOT_BITS, dtype=np.int64)

    def __len__(self) -> int:
        return len(self._codes)

    def sort(self, table: FrameTable) -> ById:
        """A table's rows by id."""
        codes = self._codes_of(frame_keys(table))
        small = codes.astype(np.uint16) if len(self) < 1 << 16 else codes  # two bytes sort in linear time
        order = np.argsort(small, kind="stable")
        starts = np.flatnonzero(np.diff(codes[order], prepend=-1))
        return ById(order, starts, np.append(starts, len(codes))[1:], codes[order[starts]])

    def _codes_of(self, keys: Ints) -> Ints:
        slots = keys.view(np.uint64) * _SPREAD >> np.uint64(64 - _SLOT_BITS)
        codes: Ints = self._slot_code[slots]
        strange = np.flatnonzero(self._slot_key[slots] != keys)
        if len(strange):
            unique, first, inverse = np.unique(keys[strange], return_index=True, return_inverse=True)
            found = [self._learn(key, slots[strange[at]]) for key, at in zip(unique.tolist(), first, strict=True)]
            codes[strange] = np.array(found, dtype=np.int64)[inverse]
        return codes

    def _learn(self, key: int, slot: np.uint64) -> int:
        code = self._codes.setdefault(key, len(self._codes))
        if self._slot_key[slot] < 0:
            self._slot_key[slot], self._slot_code[slot] = key, code
        return code


def frame_keys(table: FrameTable) -> Ints:
    """shape (n,), int64: channel code, kind of id and id as one number."""
    kind = (table.flags & int(FrameFlag.EXTENDED | FrameFlag.ERROR)).astype(np.int64)
    return table.channel.astype(np.int64) << 36 | kind << 30 | table.can_id.astype(np.int64)


def data_sizes(table: FrameTable) -> npt.NDArray[np.uint16]:
    """shape (n,), uint16: how many data bytes each frame brings: none if it is remote."""
    is_remote = table.flags & FrameFlag.REMOTE != 0
    return np.where(is_remote, 0, table.length).astype(np.uint16) if is_remote.any() else table.length


def first_words(table: FrameTable) -> npt.NDArray[np.uint64]:
    """shape (n,), uint64: the first 8 data bytes of each frame as one number, the first lowest, then zeros."""
    room = np.zeros(len(table.payload) + _WORD_BYTES, dtype=np.uint8)
    room[: len(table.payload)] = table.payload
    at_every_byte = np.ndarray((len(table.payload) + 1,), dtype="<u8", buffer=room.data, strides=(1,))
    size = np.minimum(data_sizes(table), _WORD_BYTES)
    return at_every_byte[np.where(size > 0, table.offset, 0)] & _FIRST[size]


def channels_of(table: FrameTable) -> Iterator[tuple[int, npt.NDArray[np.bool_] | slice]]:
    """Each channel code of a table and where its frames are."""
    if len(table) and table.channel.min() == table.channel.max():
        yield int(table.channel[0]), slice(None)
        return
    for code in np.unique(table.channel).tolist():
        yield code, table.channel == code
