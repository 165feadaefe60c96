"""A capture: its frames in order, as often as they are asked for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canlog.capture.ahead import read_ahead
from canlog.capture.judged_time import judged
from canlog.capture.registry import BINARY, CaptureFormat
from canlog.capture.source import BLOCK_BYTES, Progress, Source
from canlog.errors import CaptureError
from canlog.frames import BadLine, FrameTable, join_tables

if TYPE_CHECKING:
    import pandas as pd

#: Captures up to this many frames (and bad lines) are kept parsed after the first pass; larger ones are read again.
KEPT_FRAMES: Final = 200_000
_LARGEST_FRAME: Final = 64  # bytes; a packet counts as several frames
_LONGEST_RAW_BYTES: Final = 8192


class Capture:
    """An opened capture. ``progress`` is called with bytes read and bytes in all while it is read."""

    def __init__(self, source: Source, reader: CaptureFormat, progress: Progress | None = None) -> None:
        self._source = source
        self._reader = reader
        self._kept: tuple[FrameTable, ...] | None = None
        self.progress = progress

    def __repr__(self) -> str:
        return f"Capture({self.name!r}, {self.format!r}, {self._source.size} bytes)"

    @property
    def name(self) -> str:
        """The file's name without its folder, or ``standard input``."""
        return self._source.name

    @property
    def path(self) -> str:
        """The file it was read from; for standard input a file of its own."""
        return str(self._source.original)

    @property
    def format(self) -> str:
        """Name of the format it is in."""
        return self._reader.NAME

    @property
    def cannot_tell(self) -> str:
        """What no capture of its form says, in words."""
        return self._reader.CANNOT_TELL

    @property
    def sha256(self) -> str:
        """Of the original bytes, hex: names the capture beyond doubt."""
        return self._source.sha256

    def hash_meanwhile(self) -> None:
        """Work out :attr:`sha256` in a thread; for those who will ask for it."""
        self._source.hash_meanwhile()

    @property
    def note(self) -> str:
        """What had to be done to the bytes before they could be read; mostly empty."""
        return self._source.note

    @property
    def wrappings(self) -> tuple[bytes, ...]:
        """The first bytes of each layer of packing that was taken off, outermost first."""
        return self._source.wrappings

    @property
    def packing_damage(self) -> str:
        """What is wrong with what it was packed in, in words; mostly empty."""
        return self._source.damage

    def chunks(self) -> Iterator[FrameTable]:
        """The frames in source order, in tables of bounded size. May be called again and again."""
        if self._kept is not None:
            yield from self._kept
            return
        kept: list[FrameTable] | None = []
        n_kept = 0
        for table in judged(self._read()):
            if kept is not None:
                n_kept += max(len(table), len(table.payload) // _LARGEST_FRAME) + len(table.bad_lines)
                kept = [*kept, table] if n_kept <= KEPT_FRAMES else None
            yield table
        if kept is not None:
            self._kept = tuple(kept)

    def _read(self) -> Iterator[FrameTable]:
        """One block is read on the spot, more of them ahead."""
        return read_ahead(self._tables()) if self._source.size > BLOCK_BYTES else self._tables()

    def _tables(self) -> Iterator[FrameTable]:
        table: FrameTable | None = None
        try:
            for table in self._reader.read(self._source.blocks(self.progress)):
                yield table
            if table is not None and self._source.damage:
                yield _end_is_missing(table, self._source.damage)
        except CaptureError as error:  # of a form that is only tried when all of it is read
            raise CaptureError(f"{self.name}: {error}", hint=error.hint) from error

    def frames(self) -> FrameTable:
        """All frames as one table: for small captures and notebooks."""
        return join_tables(list(self.chunks()))

    def to_pandas(self) -> pd.DataFrame:
        """All frames, one row each; see :meth:`FrameTable.to_pandas`."""
        return self.frames().to_pandas()

    @property
    def is_text(self) -> bool:
        """Its form has lines."""
        return self._reader not in BINARY

    def text(self) -> bytes:
        """All bytes of the source, unpacked: what ``position`` of a frame counts in."""
        return b"".join(self._source.blocks())

    def raw_line(self, position: int) -> str:
        """The source line at a frame's byte position, as it was written; nothing where a form has no lines."""
        if self._reader in BINARY:
            return ""
        return self._source.line_at(position, _LONGEST_RAW_BYTES).decode("utf-8", "replace")


def _end_is_missing(last: FrameTable, damage: str) -> FrameTable:
    """A table without frames behind the last one: what a damaged package keeps from us is a damaged line."""
    bad = BadLine(last.lines_read + 1, f"the packed file is damaged: {damage}", "")
    none = last.take(np.zeros(0, dtype=np.int64)).compact()
    return replace(none, bad_lines=(bad,), lines_read=bad.line, notes=last.notes)
