"""SQLite files with a table ``messages``: one frame a row.

Theory of operation: the table is read in the order its rows were written, with no trust in the file: only
plain columns of a plain table are asked for, read only, and a value that cannot be is a damaged record.
A file that is damaged inside gives the rows up to there. The row's number stands for the line.

Times are floating point seconds; their shortest digits are what the writer had in hand.

Source: the table of python-can 4.6.1's writer (can/io/sqlite.py): ts, arbitration_id, extended, remote,
error, dlc, data; the file's first bytes from sqlite.org/fileformat.html.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

from canlog.capture.candump_log import LARGEST_SECONDS
from canlog.capture.identifiers import CLASSIC_BYTES, FD_SIZES, LARGEST_11_BIT, LARGEST_29_BIT
from canlog.capture.lines import peek
from canlog.capture.records import RecordReader
from canlog.capture.socketcan import Refused
from canlog.capture.whole_file import whole_file
from canlog.errors import CaptureError
from canlog.frames import FrameFlag, FrameTable

NAME: Final = "sqlite"
ABOUT: Final = "SQLite file with a table `messages` as python-can writes it"
EXPECTED: Final = "no SQLite file with a table `messages`"
EVIDENCE: Final = "SQLite's first bytes and a table with a column arbitration_id"
CANNOT_TELL: Final = "direction, channel, the kind of an error frame, CAN FD up to 8 bytes"
SUFFIXES: Final = (".db", ".sqlite", ".sqlite3")

_MAGIC: Final = b"SQLite format 3\0"
_COLUMN: Final = b"arbitration_id"
_CHANNEL: Final = "bus"
_BUS_ERROR: Final = 0x080  # the kind is not written
_TABLE: Final = "select sql from sqlite_master where type = 'table' and name = 'messages'"
_ROWS: Final = (
    "select rowid, ts, arbitration_id, extended, remote, error, dlc, substr(data, 1, 65) from messages order by rowid"
)


def recognise(head: bytes) -> float:
    """1 for an SQLite file in whose head such a table is described, else 0."""
    return 1.0 if head.startswith(_MAGIC) and _COLUMN in head else 0.0


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of the table, chunk by chunk.

    Raises:
        CaptureError: the table is not there, or cannot be read at all.
    """
    head, blocks = peek(blocks, recognise)
    if not recognise(head):
        raise CaptureError(EXPECTED, hint="`canlog formats` lists what can be read")
    reader = _Sqlite()
    with whole_file(blocks, ".db") as path:
        if _cut_to_pages(path):
            reader.note("the file is cut: its header announces more pages than are here")
        database = sqlite3.connect(f"{path.as_uri()}?mode=ro&immutable=1", uri=True)
        with closing(database):
            yield from reader.tables(reader.records(database))


class _Sqlite(RecordReader):
    def __init__(self) -> None:
        super().__init__(None)

    def records(self, database: sqlite3.Connection) -> Iterator[None]:
        """Every row, added as a frame or kept as damage."""
        database.text_factory = bytes  # text that is no UTF-8 must not end the reading
        try:
            database.execute("pragma trusted_schema = off")
            database.execute("pragma writable_schema = on")  # or a cut file is refused whole, though it is read only
            _check_table(database.execute(_TABLE).fetchone())
            for row in database.execute(_ROWS):
                self._take(*row)
                yield
        except sqlite3.Error as error:
            if not self.number:
                raise CaptureError(
                    f"an SQLite file that cannot be read ({error})", hint="copy it again from the logger"
                ) from error
            self.number += 1
            self.damaged(f"the file is damaged here ({error}); what stands behind cannot be read", b"")
            self.note(f"the file is damaged after record {self.number - 1}")

    def _take(
        self, rowid: int, time: Any, can_id: Any, extended: Any, remote: Any, error: Any, dlc: Any, data: Any
    ) -> None:  # fmt: skip
        self.number = max(rowid, self.number + 1)
        data = b"" if data is None else data
        try:
            if not isinstance(data, bytes) or not all(isinstance(each, int) for each in (can_id, dlc)):
                raise Refused("an id, length or data of another kind")
            time_ns = _time_ns(time)
            if error:
                self.add(time_ns, _CHANNEL, _BUS_ERROR, FrameFlag.ERROR.value, data[:CLASSIC_BYTES], 0)
                return
            if not 0 <= can_id <= (LARGEST_29_BIT if extended else LARGEST_11_BIT):
                raise Refused("the id has too many bits")
            if dlc not in FD_SIZES or (not remote and len(data) != dlc):
                raise Refused(f"length {dlc}, but {len(data)} bytes")
        except Refused as refusal:
            self.damaged(str(refusal), data if isinstance(data, bytes) else b"")
            return
        flags = (
            (FrameFlag.EXTENDED if extended else 0)
            | (FrameFlag.REMOTE if remote else 0)
            | (FrameFlag.FD if dlc > CLASSIC_BYTES else 0)
        )
        self.add(time_ns, _CHANNEL, can_id, int(flags), b"" if remote else data, 0, dlc)


def _cut_to_pages(path: Path) -> bool:
    """Take away the last page of a file that is cut inside it: SQLite would read the missing bytes as zeros."""
    size = path.stat().st_size
    with path.open("r+b") as file:
        header = file.read(100)
        page_bytes = int.from_bytes(header[16:18], "big")
        page_bytes = 65_536 if page_bytes == 1 else max(page_bytes, 512)
        file.truncate(size - size % page_bytes)
    return size < page_bytes * int.from_bytes(header[28:32], "big")


def _check_table(found: tuple[bytes] | None) -> None:
    if found is None or not found[0].lower().startswith(b"create table"):
        raise CaptureError(
            "an SQLite file without a plain table `messages`", hint="`canlog formats` lists what can be read"
        )


def _time_ns(time: Any) -> int:
    if not isinstance(time, int | float) or not abs(time) <= LARGEST_SECONDS:
        raise Refused("its time is no number of seconds")
    return int(Decimal(repr(time)).scaleb(9).to_integral_value())
