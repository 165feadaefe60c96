"""Times are judged, not believed: what the stamps of a capture are worth, in words.

Backward steps are found by the survey, absent times by the reader; here is what all stamps together show.

Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from canlog.frames import FrameTable, TimeKind

#: So many frames on whole milliseconds are no chance: one in a thousand of each is.
_ENOUGH_FRAMES: Final = 20
_FIRST_DATE_NS: Final = 1_000_000_000 * 1_000_000_000  # 2001; below it is no date of a recording
_COARSE: Final = ((1_000_000_000, "seconds"), (1_000_000, "milliseconds"))

NOTE_NEGATIVE: Final = "some of its times are negative: the clock was set, or it counts from later than the first frame"
NOTE_NO_DATE: Final = "its times count from an unknown moment: there is no date"
NOTE_COARSE: Final = "its times are whole {}: what happened within one is known by the order of lines alone"


def judged(tables: Iterable[FrameTable]) -> Iterator[FrameTable]:
    """The tables of one pass, with notes on the stamps so far; those of the last table hold for all."""
    smallest = largest = 0
    n_frames = 0
    coarse = dict(_COARSE)
    for table in tables:
        if len(table) and table.time_kind is not TimeKind.NONE:
            first, last = int(table.time_ns.min()), int(table.time_ns.max())
            smallest, largest = (min(smallest, first), max(largest, last)) if n_frames else (first, last)
            n_frames += len(table)
            coarse = {unit: name for unit, name in coarse.items() if not np.any(table.time_ns % unit)}
        notes = tuple(_notes(smallest, largest, n_frames, list(coarse.values())))
        yield replace(table, notes=(*table.notes, *notes)) if notes else table


def _notes(smallest: int, largest: int, n_frames: int, coarse: list[str]) -> Iterator[str]:
    if not n_frames or smallest == largest == 0:
        return
    if smallest < 0:
        yield NOTE_NEGATIVE
    if largest < _FIRST_DATE_NS:
        yield NOTE_NO_DATE
    if coarse and n_frames >= _ENOUGH_FRAMES:
        yield NOTE_COARSE.format(coarse[0])
