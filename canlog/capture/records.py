"""What the readers of binary captures share: bytes in pieces of any size, and rows counted by record.

The number of a record stands where a text capture has its line. A damaged place is kept like a bad line.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from canlog.capture.lines import CHUNK_FRAMES, MOST_CHANNELS
from canlog.frames import BadLine, FrameRows, FrameTable, TimeKind

#: A table is handed on with this many bytes of frames: packets are larger than frames.
CHUNK_BYTES: Final = 16 * 1024**2
#: A record larger than this is damage: its length was read from the wrong place.
MOST_RECORD_BYTES: Final = 64 * 1024**2
_SHOWN_BYTES: Final = 32


class ByteStream:
    """Blocks of bytes, read in pieces of any size."""

    def __init__(self, blocks: Iterable[bytes]) -> None:
        self._blocks = iter(blocks)
        self._buffer = b""
        self._at = 0
        self.position = 0

    def peek(self, n_bytes: int) -> bytes:
        """The next bytes, fewer only at the end."""
        if len(self._buffer) - self._at < n_bytes:
            pieces = [self._buffer[self._at :]]
            missing = n_bytes - len(pieces[0])
            while missing > 0 and (block := next(self._blocks, b"")):
                pieces.append(block)
                missing -= len(block)
            self._buffer, self._at = b"".join(pieces), 0
        return self._buffer[self._at : self._at + n_bytes]

    def read(self, n_bytes: int) -> bytes:
        """The same, and go on behind them."""
        data = self.peek(n_bytes)
        self._at += len(data)
        self.position += len(data)
        return data

    def skip_to(self, mark: bytes) -> int:
        """Go on to the next ``mark`` and say how many bytes lie before it; to the end if there is none."""
        skipped = 0
        while True:
            data = self.peek(64 * 1024)
            at = data.find(mark)
            if at >= 0:
                return skipped + len(self.read(at))
            if len(data) < 64 * 1024:
                return skipped + len(self.read(len(data)))
            skipped += len(self.read(len(data) - len(mark) + 1))


class RecordReader:
    """Collects the frames of a binary capture; subclasses say what a record means."""

    def __init__(self, time_kind: TimeKind | None) -> None:
        self.rows = FrameRows(time_kind=time_kind)
        self.number = 0  # of the record being read, 1-based

    def add(
        self, time_ns: int, channel: str, can_id: int, flags: int, data: bytes, position: int, length: int | None = None
    ) -> None:
        """Keep a frame of the record being read."""
        if len(self.rows.channels) >= MOST_CHANNELS and channel not in self.rows.channels:
            self.damaged("one more channel after a thousand others", b"")
            return
        self.rows.add(
            time_ns=time_ns, channel=channel, can_id=can_id, flags=flags, data=data, line=self.number,
            position=position, length=length,
        )  # fmt: skip

    def damaged(self, reason: str, data: bytes) -> None:
        """Keep what is no frame, with its reason and its first bytes in hex."""
        self.rows.bad_lines.append(BadLine(self.number, reason, data[:_SHOWN_BYTES].hex(" ")))

    def note(self, sentence: str) -> None:
        """Remember an assumption once."""
        if sentence not in self.rows.notes:
            self.rows.notes.append(sentence)

    def is_full(self) -> bool:
        """Is it time to hand a table on?"""
        return (
            len(self.rows) >= CHUNK_FRAMES
            or len(self.rows.bad_lines) >= CHUNK_FRAMES
            or self.rows.n_bytes >= CHUNK_BYTES
        )

    def table(self) -> FrameTable:
        """What was collected since the last table."""
        self.rows.lines_read = self.number
        return self.rows.flush()

    def tables(self, records: Iterable[object]) -> Iterator[FrameTable]:
        """Read all records; at least one table, the last with everything that is left."""
        for _ in records:
            if self.is_full():
                yield self.table()
        yield self.table()
