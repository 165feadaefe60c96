"""Which frames of a capture are worth a look when links are searched: a sieve over columns.

Most ids are cyclic application frames. Every frame is judged under both places its control byte can have (first
byte; second byte behind an address); an id that keeps showing impossible ones is off and never looked at again.
Of the others, frames that begin a message, flow control and the first consecutive frame pass.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from canlog.frames import FrameTable, Ints
from canlog.isotp.numbering import Numbering
from canlog.isotp.reassembly import NOT_DATA, frame_keys
from canlog.isotp.shapes import CONSECUTIVE, NOTHING, Shapes, byte_at, shapes_of

_FIRST_CONSECUTIVE = 0x21


class Picked(NamedTuple):
    """Frames worth a look, in source order; one may stand there under both places. All have shape (m,)."""

    row: Ints
    key: Ints  # of the id, see frame_keys
    address_bytes: Ints
    shape: Shapes


class Prefilter:
    """Counts frames by id; a *place* is the number of address bytes, 0 or 1. Columns have one entry an id."""

    def __init__(self) -> None:
        self._ids = Numbering()
        self._n_frames: Ints = np.zeros(0, dtype=np.int64)
        self._n_bad: Ints = np.zeros((2, 0), dtype=np.int64)
        self._is_off = np.zeros((2, 0), dtype=bool)
        self._is_watched = np.zeros((2, 0), dtype=bool)  # somebody will ask whether it is clean
        self._number: dict[int, int] = {}

    @property
    def keys(self) -> list[int]:
        """The frame keys of all ids, in order of their first sight."""
        return self._ids.keys

    def is_clean(self, key: int, place: int) -> bool:
        """Nearly every frame of a watched id is valid under this place of the control byte."""
        number = self._number[key]
        return bool(self._n_bad[place, number] * 10 <= self._n_frames[number])

    def watch(self, key: int, place: int) -> None:
        """Go on counting, even if the id is off."""
        self._is_watched[place, self._number[key]] = True

    def leave(self, key: int, place: int) -> None:
        """Look at no more frames of an id."""
        self._is_off[place, self._number[key]] = True

    def pick(self, table: FrameTable) -> Picked:
        """The frames of a table that are worth a look."""
        keys = frame_keys(table)
        ids = self._ids.learn(keys)
        self._grow()
        is_data = table.flags & NOT_DATA == 0
        rows = np.arange(len(table)) if is_data.all() else np.flatnonzero(is_data)
        self._n_frames += np.bincount(ids[rows], minlength=len(self.keys))
        found = [self._pick(table, rows, ids, place) for place in (0, 1)]
        row, shape = (np.concatenate(column) for column in zip(*found, strict=True))
        place = np.repeat([0, 1], [len(part[0]) for part in found])
        order = np.argsort(row, kind="stable")
        return Picked(row[order], keys[row[order]], place[order], shape[order])

    def _grow(self) -> None:
        n_new = len(self.keys) - len(self._n_frames)
        if n_new:
            self._number |= {key: number for number, key in enumerate(self.keys)}
            self._n_frames = np.pad(self._n_frames, (0, n_new))
            self._n_bad, self._is_off, self._is_watched = (
                np.pad(column, ((0, 0), (0, n_new))) for column in (self._n_bad, self._is_off, self._is_watched)
            )

    def _pick(self, table: FrameTable, rows: Ints, ids: Ints, place: int) -> tuple[Ints, Shapes]:
        is_counted = ~self._is_off[place] | self._is_watched[place]
        if not is_counted.all():
            rows = rows[is_counted[ids[rows]]]
        offset, id_of = table.offset[rows], ids[rows]
        shapes = shapes_of(table.payload, offset, table.length[rows], place)
        self._n_bad[place] += np.bincount(id_of[shapes == NOTHING], minlength=len(self.keys))
        self._is_off[place] |= self._n_bad[place] > 2 + self._n_frames // 20
        wanted = np.flatnonzero(~self._is_off[place][id_of] & (shapes != NOTHING))
        control = byte_at(table.payload, offset[wanted], place)
        wanted = wanted[(shapes[wanted] != CONSECUTIVE) | (control == _FIRST_CONSECUTIVE)]
        # Of first consecutive frames in a row only the first can say anything.
        sender = id_of[wanted] << 8
        if place:
            sender |= byte_at(table.payload, offset[wanted], 0)
        wanted = wanted[~_repeats(sender, shapes[wanted])]
        return rows[wanted], shapes[wanted]


def _repeats(sender: Ints, shapes: Shapes) -> npt.NDArray[np.bool_]:
    """Consecutive frames behind another one of the same sender."""
    order = np.argsort(sender, kind="stable")
    is_consecutive = shapes[order] == CONSECUTIVE
    repeats = np.zeros(len(sender), dtype=bool)
    repeats[order[1:]] = is_consecutive[1:] & is_consecutive[:-1] & (np.diff(sender[order]) == 0)
    return repeats
