"""Captures that ran at the same time: what stands in the later one comes surely behind the earlier from a line on."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from analysis.exchanges import Place
from canlog.frames import TimeKind

if TYPE_CHECKING:
    from analysis.record import CaptureRecord

#: By the numbers of two captures, the first line of the later one that surely lies behind the earlier one.
Borders = Mapping[tuple[int, int], int]


def shared_time(captures: Sequence[CaptureRecord]) -> dict[tuple[int, int], int]:
    """The borders of all captures that overlap."""
    found = {}
    for at, later in enumerate(captures):
        for earlier in captures[:at]:
            line = _first_line_behind(earlier, later)
            if line is not None:
                found[earlier.number, later.number] = line
    return found


def _first_line_behind(earlier: CaptureRecord, later: CaptureRecord) -> int | None:
    """None where they do not overlap, or where no clock says so."""
    ends, begins = earlier.survey.summary, later.survey.summary
    if ends.last_time_ns is None or begins.first_time_ns is None or begins.first_time_ns > ends.last_time_ns:
        return None
    if not ends.time_kind is begins.time_kind is TimeKind.ABSOLUTE:
        return None
    behind = (item.begin[1] for item in later.exchanges if item.begin_ns > (ends.last_time_ns or 0))
    inside = max((item.end[1] for item in later.exchanges if item.begin_ns <= ends.last_time_ns), default=0)
    return next((line for line in behind if line > inside), sys.maxsize)


def is_inside(place: Place, own: int, borders: Borders) -> bool:
    """The place is in a capture that ran while the capture ``own`` was recorded, and not behind its end."""
    line = borders.get((own, place[0]))
    return line is not None and place[1] < line
