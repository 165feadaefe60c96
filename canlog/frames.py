"""Frames as columns: what every capture reader yields and everything above reads.

A capture is read in chunks of bounded size; each chunk is one :class:`FrameTable`. Nothing in a
line is thrown away silently: what could not be read is a :class:`BadLine` with its number.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import IntFlag, StrEnum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    import pandas as pd

Ints = npt.NDArray[np.int64]


class FrameFlag(IntFlag):
    """What is known of a frame besides id and bytes."""

    EXTENDED = 1  # 29-bit id
    FD = 2
    BRS = 4
    ESI = 8
    REMOTE = 16
    ERROR = 32  # an error frame of the controller; the id holds the error class bits
    RECEIVED = 64  # the logger says it received this frame
    SENT = 128  # the logger says this frame was sent from the recording machine
    PACKET = 256  # no CAN frame: an IP packet of diagnostics over Ethernet; the id is the sender's port


class TimeKind(StrEnum):
    """What a capture's time stamps are worth."""

    ABSOLUTE = "absolute"  # seconds since 1970
    RELATIVE = "relative"  # seconds since an unknown moment
    NONE = "none"  # order only; ``time_ns`` is zero everywhere


class BadLine(NamedTuple):
    """A line that is no frame: kept, counted, never a reason to stop."""

    line: int  # 1-based
    reason: str
    text: str  # at most 200 characters


class DropMarker(NamedTuple):
    """The logger itself says that it lost frames here."""

    line: int
    frames: int  # how many, 0 when it does not say
    text: str


class Frame(NamedTuple):
    """One frame as a row, for readable code."""

    time_ns: int
    channel: str
    can_id: int
    flags: FrameFlag
    length: int  # bytes of data; for a remote frame the length asked for
    data: bytes
    line: int  # 1-based source line; record number in binary formats
    position: int  # byte position of the line in the (unpacked) source


@dataclass(frozen=True, slots=True)
class FrameTable:
    """Frames in source order, as columns.

    ``time_ns`` int64 (n,), ``channel`` int16 (n,) index into ``channels``, ``can_id`` uint32 (n,),
    ``flags`` uint16 (n,) of :class:`FrameFlag`, ``length`` uint16 (n,), ``offset`` int64 (n,) into
    ``payload`` uint8 (m,), ``line`` int64 (n,), ``position`` int64 (n,).
    ``bad_lines`` and ``drops`` belong to the same stretch of the source.
    ``lines_read`` is the number of the last source line seen so far. ``time_kind`` is None where the
    format leaves it to the size of the stamps (:func:`canlog.survey.survey` decides). ``notes`` are
    what the reader had to assume so far, one sentence each.
    """

    time_ns: Ints
    channel: npt.NDArray[np.int16]
    can_id: npt.NDArray[np.uint32]
    flags: npt.NDArray[np.uint16]
    length: npt.NDArray[np.uint16]
    offset: Ints
    payload: npt.NDArray[np.uint8]
    line: Ints
    position: Ints
    channels: tuple[str, ...]
    bad_lines: tuple[BadLine, ...] = ()
    drops: tuple[DropMarker, ...] = ()
    lines_read: int = 0
    time_kind: TimeKind | None = None
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.time_ns)

    def data(self, row: int) -> bytes:
        """The data bytes of one frame (empty for a remote frame)."""
        if self.flags[row] & FrameFlag.REMOTE:
            return b""
        start = int(self.offset[row])
        return self.payload[start : start + int(self.length[row])].tobytes()

    def __getitem__(self, row: int) -> Frame:
        return Frame(
            int(self.time_ns[row]),
            self.channels[int(self.channel[row])],
            int(self.can_id[row]),
            FrameFlag(int(self.flags[row])),
            int(self.length[row]),
            self.data(row),
            int(self.line[row]),
            int(self.position[row]),
        )

    def __iter__(self) -> Iterator[Frame]:
        return (self[row] for row in range(len(self)))

    def packets(self) -> npt.NDArray[np.bool_]:
        """shape (n,), bool: True where a row is an IP packet and no CAN frame."""
        return np.asarray(self.flags & int(FrameFlag.PACKET) != 0, dtype=np.bool_)

    def frames_only(self) -> FrameTable:
        """The table without its packets: itself, where it has none."""
        is_packet = self.packets()
        return self.take(~is_packet) if is_packet.any() else self

    def take(self, rows: npt.NDArray[np.bool_] | Ints) -> FrameTable:
        """The frames of ``rows`` (mask or indices); the payload buffer is shared."""
        return FrameTable(
            self.time_ns[rows], self.channel[rows], self.can_id[rows], self.flags[rows], self.length[rows],
            self.offset[rows], self.payload, self.line[rows], self.position[rows], self.channels,
            time_kind=self.time_kind,
        )  # fmt: skip

    def compact(self) -> FrameTable:
        """The same frames with a payload buffer of their own, so that a few of them do not hold a whole chunk."""
        size = np.where(self.flags & FrameFlag.REMOTE, 0, self.length).astype(np.int64)
        offset = np.cumsum(size) - size
        bytes_of = np.repeat(self.offset - offset, size) + np.arange(size.sum(), dtype=np.int64)
        return replace(self, offset=offset, payload=self.payload[bytes_of])

    def to_pandas(self) -> pd.DataFrame:
        """One row a frame: time in seconds, channel, id, flags, length, data as bytes, line."""
        import pandas as pd

        return pd.DataFrame(
            {
                "time_s": self.time_ns / 1e9,
                "time_ns": self.time_ns,
                "channel": [self.channels[code] for code in self.channel],
                "can_id": self.can_id,
                "flags": self.flags,
                "length": self.length,
                "data": [self.data(row) for row in range(len(self))],
                "line": self.line,
            }
        )


@dataclass(slots=True)
class FrameRows:
    """Collects rows and turns them into a :class:`FrameTable`: the readable way to build one."""

    channels: list[str] = field(default_factory=list)
    _codes: dict[str, int] = field(default_factory=dict)
    _rows: list[tuple[int, int, int, int, int, int, int, int]] = field(default_factory=list)
    _payload: bytearray = field(default_factory=bytearray)
    _columns: list[FrameTable] = field(default_factory=list)
    bad_lines: list[BadLine] = field(default_factory=list)
    drops: list[DropMarker] = field(default_factory=list)
    lines_read: int = 0
    time_kind: TimeKind | None = None
    notes: list[str] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self._rows) + sum(map(len, self._columns))

    @property
    def n_bytes(self) -> int:
        """Bytes of the frames that were appended one by one."""
        return len(self._payload)

    def code_of(self, channel: str) -> int:
        """The code of a channel, a new one for a new name."""
        code = self._codes.get(channel)
        if code is None:
            code = self._codes[channel] = len(self.channels)
            self.channels.append(channel)
        return code

    def add(
        self, *, time_ns: int, channel: str, can_id: int, flags: int, data: bytes, line: int, position: int,
        length: int | None = None,
    ) -> None:  # fmt: skip
        """Append one frame; ``length`` only where it is not ``len(data)`` (remote frames)."""
        code = self.code_of(channel)
        size = len(data) if length is None else length
        self._rows.append((time_ns, code, can_id, flags, size, len(self._payload), line, position))
        self._payload += data

    def extend(self, table: FrameTable) -> None:
        """Append many frames, with channel codes of :meth:`code_of`; the lines of single ones may lie among theirs."""
        self._columns.append(table)

    def flush(self) -> FrameTable:
        """The rows so far as a table, in order of line; channel codes stay the same in the next one."""
        table = self._flush_rows()
        if not self._columns:
            return table
        among = len(table) > 0
        parts = [*self._columns, table] if among else self._columns
        self._columns = []
        joined = parts[0] if len(parts) == 1 else join_tables(parts)
        if among:
            joined = joined.take(np.argsort(joined.line, kind="stable"))
        return replace(
            joined, channels=table.channels, bad_lines=table.bad_lines, drops=table.drops,
            lines_read=table.lines_read, time_kind=table.time_kind, notes=table.notes,
        )  # fmt: skip

    def _flush_rows(self) -> FrameTable:
        columns = np.array(self._rows, dtype=np.int64).reshape(-1, 8).T
        table = FrameTable(
            time_ns=columns[0].copy(),
            channel=columns[1].astype(np.int16),
            can_id=columns[2].astype(np.uint32),
            flags=columns[3].astype(np.uint16),
            length=columns[4].astype(np.uint16),
            offset=columns[5].copy(),
            payload=np.frombuffer(bytes(self._payload), dtype=np.uint8),
            line=columns[6].copy(),
            position=columns[7].copy(),
            channels=tuple(self.channels),
            bad_lines=tuple(self.bad_lines),
            drops=tuple(self.drops),
            lines_read=self.lines_read,
            time_kind=self.time_kind,
            notes=tuple(self.notes),
        )
        self._rows.clear()
        self._payload.clear()
        self.bad_lines.clear()
        self.drops.clear()
        return table


def table_of(frames: Iterable[Frame], channels: Sequence[str] = ()) -> FrameTable:
    """A table of the frames given, in their order (tests, simulator, small tools)."""
    rows = FrameRows()
    for name in channels:
        rows._codes[name] = len(rows.channels)
        rows.channels.append(name)
    for frame in frames:
        rows.add(
            time_ns=frame.time_ns, channel=frame.channel, can_id=frame.can_id, flags=int(frame.flags),
            data=frame.data, line=frame.line, position=frame.position, length=frame.length,
        )  # fmt: skip
        rows.lines_read = max(rows.lines_read, frame.line)
    return rows.flush()


def join_tables(tables: Sequence[FrameTable]) -> FrameTable:
    """The chunks of one pass over a capture as one table (channel codes are the same in all of them)."""
    if not tables:
        return FrameRows().flush()
    starts = np.cumsum([0] + [len(table.payload) for table in tables[:-1]])
    last = tables[-1]
    return FrameTable(
        time_ns=np.concatenate([table.time_ns for table in tables]),
        channel=np.concatenate([table.channel for table in tables]),
        can_id=np.concatenate([table.can_id for table in tables]),
        flags=np.concatenate([table.flags for table in tables]),
        length=np.concatenate([table.length for table in tables]),
        offset=np.concatenate([table.offset + start for table, start in zip(tables, starts, strict=True)]),
        payload=np.concatenate([table.payload for table in tables]),
        line=np.concatenate([table.line for table in tables]),
        position=np.concatenate([table.position for table in tables]),
        channels=last.channels,
        bad_lines=tuple(bad for table in tables for bad in table.bad_lines),
        drops=tuple(drop for table in tables for drop in table.drops),
        lines_read=last.lines_read,
        time_kind=last.time_kind,
        notes=last.notes,
    )
