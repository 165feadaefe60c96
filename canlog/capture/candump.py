"""candump's log form as fast as it goes: usual lines as columns, all others one by one, merged in their order.

What stands in the file is decided by :mod:`canlog.capture.candump_log` alone; the columns are a faster way to the
same answer, compiled where that was built (:mod:`canlog.capture.candump_compiled`), else with numpy
(:mod:`canlog.capture.candump_columns`).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from canlog.capture import candump_log
from canlog.capture.candump_columns import Mask, Strict, parse_columns
from canlog.capture.candump_compiled import is_available, parse_compiled
from canlog.capture.candump_log import CandumpLog, recognise
from canlog.capture.lines import FAR_NS, MOST_CHANNELS, Stretch, peek
from canlog.frames import FrameTable

NAME: Final = candump_log.NAME
ABOUT: Final = candump_log.ABOUT
EXPECTED: Final = candump_log.EXPECTED
EVIDENCE: Final = candump_log.EVIDENCE
CANNOT_TELL: Final = candump_log.CANNOT_TELL
SUFFIXES: Final = candump_log.SUFFIXES

#: Text, number of its first line and its byte position to columns.
Parse = Callable[[bytes, int, int], Iterator[Strict]]

Codes = npt.NDArray[np.int16]

__all__ = ["ABOUT", "CANNOT_TELL", "EVIDENCE", "EXPECTED", "NAME", "SUFFIXES", "read", "read_with", "recognise"]


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of a log, chunk by chunk."""
    return read_with(parse_compiled if is_available() else parse_columns, blocks)


def read_with(parse: Parse, blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The same with a given parser of usual lines."""
    head, blocks = peek(blocks, recognise)
    return _ColumnReader(head, parse).tables(blocks)


class _ColumnReader(CandumpLog):
    def __init__(self, head: bytes, parse: Parse) -> None:
        super().__init__(head)
        self._parse = parse
        self._codes: dict[bytes, int] = {}

    def read_stretch(self, stretch: Stretch) -> None:
        if stretch.overlong or stretch.end != b"\n" or not self.timed:
            super().read_stretch(stretch)
            return
        text = stretch.text if stretch.text.endswith(b"\n") else stretch.text + b"\n"
        number = stretch.first
        for strict in self._parse(text, number, stretch.position):
            self._merge(text, stretch.position, strict)
            number += len(strict.frames) + len(strict.loose_line)
        self.rows.lines_read = number - 1

    def _merge(self, text: bytes, base: int, strict: Strict) -> None:
        """Runs of usual lines and the loose ones between them, in their order."""
        jumps = np.flatnonzero(np.abs(np.diff(strict.frames.time_ns)) >= FAR_NS).tolist()
        codes = np.zeros(max(len(strict.names), 1), dtype=np.int16)
        taken = np.ones(len(strict.frames), dtype=np.bool_)
        loose = zip(
            strict.loose_row.tolist(), strict.loose_line.tolist(), strict.loose_start.tolist(),
            strict.loose_stop.tolist(), strict=True,
        )  # fmt: skip
        begin = 0
        for end, number, start, stop in loose:
            self._take_run(text, base, strict, (begin, end), jumps, codes, taken)
            self.try_line(text[start:stop], number, base + start)
            begin = end
        self._take_run(text, base, strict, (begin, len(taken)), jumps, codes, taken)
        table = replace(strict.frames, channel=codes[strict.frames.channel])
        self.rows.extend(table if taken.all() else table.take(taken))

    def _take_run(
        self, text: bytes, base: int, strict: Strict, span: tuple[int, int], jumps: list[int],
        codes: Codes, taken: Mask,
    ) -> None:  # fmt: skip
        """Usual lines without a loose one between them; one by one if their time needs a second opinion."""
        begin, end = span
        if begin == end:
            return
        is_calm = bisect_left(jumps, begin) == bisect_left(jumps, end - 1)
        if not is_calm or not self._agrees(int(strict.frames.time_ns[begin])) or not self._has_room(strict):
            taken[begin:end] = False
            for number, position in zip(
                strict.frames.line[begin:end].tolist(), strict.frames.position[begin:end].tolist(), strict=True
            ):
                start = position - base
                self.try_line(text[start : text.index(b"\n", start)], number, position)
            return
        self._learn_names(strict, begin, end, codes)
        self.last_ns = int(strict.frames.time_ns[end - 1])
        self.note_unpadded()

    def _agrees(self, time_ns: int) -> bool:
        """Whether a stamp is no reason to look closer."""
        return self.held is None and (self.last_ns is None or -FAR_NS < time_ns - self.last_ns < FAR_NS)

    def _has_room(self, strict: Strict) -> bool:
        return len(self.channel_names) + len(strict.names) <= MOST_CHANNELS

    def _learn_names(self, strict: Strict, begin: int, end: int, codes: Codes) -> None:
        """Codes for the channels of a run, new ones in order of first appearance."""
        if any(name not in self._codes for name in strict.names):
            places, first = np.unique(strict.frames.channel[begin:end], return_index=True)
            for place in places[np.argsort(first)].tolist():
                name = strict.names[place]
                self._codes[name] = self.rows.code_of(self.channel_names[name])
        codes[:] = [self._codes.get(name, 0) for name in strict.names] or [0]
