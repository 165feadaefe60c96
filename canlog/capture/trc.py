"""TRC text logs, versions 1.0 to 2.1: ``N  MILLISECONDS  TYPE  …  ID  …  LENGTH  DD DD …`` under ``;`` lines.

Theory of operation: the version in the header says which columns there are; from version 2 on the header
names them itself by letters. All columns but the last hold no space, so a line is taken apart by its
spaces. Lines of a type that is no frame (status, error counter, event) are counted, error frames are kept.

| letter | column | letter | column |
|---|---|---|---|
| N | number of the line | d | Rx or Tx |
| O | time in ms since the start | R | reserved |
| T | type | l / L | length in bytes / data length code |
| B | bus | D | data |
| I | id, hex; more than 4 digits is 29 bit | | |

``$STARTTIME`` counts days since 1899-12-30 in a clock whose zone is not written, so times are relative.

Source: the open reader and writer of python-can 4.6.1 (can/io/trc.py); columns of version 1.2 are between
those of 1.1 and 1.3 (M); the kinds of version 2 types other than data from there and (M).
"""

from __future__ import annotations

import re
from binascii import Error as HexError
from binascii import unhexlify
from collections.abc import Iterable, Iterator
from decimal import Decimal, InvalidOperation
from typing import Final, NamedTuple

from canlog.capture.candump_log import LARGEST_SECONDS
from canlog.capture.candump_text import NOTE_LOCAL
from canlog.capture.identifiers import CLASSIC_BYTES, FD_SIZES, LARGEST_11_BIT, LARGEST_29_BIT
from canlog.capture.lines import Damaged, LineReader, head_lines, peek
from canlog.frames import FrameFlag, FrameTable, TimeKind

NAME: Final = "trc"
ABOUT: Final = "TRC text 1.0 to 2.1: 1  1059.900 DT 1  07E0 Tx -  8  02 10 03 00 00 00 00 00"
EXPECTED: Final = "no line like `1)  1059.9  Rx  07E0  3  02 10 03`"
EVIDENCE: Final = "`;$FILEVERSION` in the header, or lines numbered `1)` with a time in ms, an id and a length"
CANNOT_TELL: Final = "the time zone of its start time; direction and error frames in version 1.0"
SUFFIXES: Final = (".trc",)

#: Columns of the versions whose header does not name them.
_COLUMNS: Final = {
    "1.0": "NOILD",
    "1.1": "NOTILD",
    "1.2": "NOBTILD",
    "1.3": "NOBTIRLD",
    "2.0": "NOTIdlD",
    "2.1": "NOTBIdRLD",
}
_NEEDED: Final = set("OID")
_NO_CHANNEL: Final = b"1"

#: Types that are frames, and what they add to the flags. R and T are those of version 1.
_FRAME_TYPES: Final[dict[bytes, int]] = {
    b"RX": FrameFlag.RECEIVED.value, b"TX": FrameFlag.SENT.value, b"DT": 0,
    b"FD": FrameFlag.FD.value, b"FB": (FrameFlag.FD | FrameFlag.BRS).value,
    b"FE": (FrameFlag.FD | FrameFlag.BRS | FrameFlag.ESI).value, b"BI": (FrameFlag.FD | FrameFlag.ESI).value,
    b"RR": FrameFlag.REMOTE.value,
}  # fmt: skip
_ERROR_TYPES: Final = frozenset((b"ER", b"ERROR"))
_OTHER_TYPES: Final = frozenset((b"ST", b"EC", b"EV", b"WARNG", b"WARNING", b"STATUS"))
_OTHERS: Final = "lines of status, error counters or events that are no frames"
_BUS_ERROR: Final = 0x080  # the kind is not written in linux/can/error.h's terms
_BUS_INFO: Final = b"FFFFFFFF"  # in place of an id
_DLC_SIZES: Final[list[int]] = sorted(FD_SIZES)
_EPOCH_DAYS: Final = 25_569  # from 1899-12-30 to 1970-01-01
_DAY_US: Final = 86_400 * 1_000_000

_HEADER: Final = re.compile(rb"\s*;\s*\$(FILEVERSION|STARTTIME|COLUMNS)\s*=\s*(.*?)\s*", re.IGNORECASE)
_OFFSET: Final = re.compile(rb"(-?)(\d{1,13})(?:[.,](\d{1,6}))?")
_NUMBER: Final = re.compile(rb"(\d+)\)?")
_NUMBERED: Final = re.compile(rb"\s*\d+\)\s+-?\d+(?:[.,]\d+)?\s")


class _Header(NamedTuple):
    version: str
    columns: str  # one letter each
    start_us: int | None


def recognise(head: bytes) -> float:
    """The share of lines, apart from ``;`` lines, that can be read as this form; 0 without a frame."""
    lines = head_lines(head)
    body = [line for line in lines if not line.lstrip().startswith(b";")]
    if not body or not (_header(lines) or _NUMBERED.match(body[0]) or _NUMBERED.match(body[-1])):
        return 0.0
    reader = _Trc(head)
    for number, line in enumerate(body):
        try:
            reader.read_line(line, number, 0)
        except Damaged:
            reader.n_damaged += 1
    return (len(body) - reader.n_damaged) / len(body) if len(reader.rows) else 0.0


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of a TRC log, chunk by chunk."""
    head, blocks = peek(blocks, recognise)
    return _Trc(head).tables(blocks)


def _header(lines: list[bytes]) -> _Header | None:
    """What the header says; None without a version."""
    said = {}
    for line in lines:
        if match := _HEADER.fullmatch(line):
            said[match[1].upper()] = match[2].decode("ascii", "replace")
    version = said.get(b"FILEVERSION")
    if version is None:
        return None
    named = "".join(part.strip() for part in said.get(b"COLUMNS", "").split(","))
    return _Header(version, named or _COLUMNS.get(version, ""), _start_us(said.get(b"STARTTIME", "")))


def _start_us(days: str) -> int | None:
    """Microseconds from 1970 to the start, as if its zone were UTC."""
    try:
        start = int((Decimal(days) - _EPOCH_DAYS) * _DAY_US)
    except (InvalidOperation, ValueError, OverflowError):
        return None
    return start if 0 < start < LARGEST_SECONDS * 500_000 else None


class _Trc(LineReader):
    def __init__(self, head: bytes) -> None:
        super().__init__()
        self.n_damaged = 0
        self.rows.time_kind = TimeKind.RELATIVE
        header = _header(head_lines(head))
        columns = header.columns if header else _COLUMNS["1.0"]
        if len(set(columns)) < len(columns) or not set(columns) >= _NEEDED or not {"l", "L"} & set(columns):
            columns = _COLUMNS["1.0"]
            self.note("its version is not known; it was read as version 1.0")
        self._columns = columns
        self._at = {letter: at for at, letter in enumerate(columns)}
        self._start_ns = 0
        if header and header.start_us:
            self._start_ns = header.start_us * 1000
            self.note(NOTE_LOCAL)

    def read_line(self, line: bytes, number: int, position: int) -> None:
        text = line.strip()
        if not text or text.startswith(b";"):
            return
        cells = text.split(None, len(self._columns) - 1)
        if not _NUMBER.fullmatch(cells[0]):
            raise Damaged("a line without its number")
        time_ns = self._time_ns(self._cell(cells, "O"))
        kind = self._cell(cells, "T").upper() if "T" in self._at else b"DT"
        if kind in _ERROR_TYPES:
            self._error(cells, time_ns, number, position, line)
        elif kind in _OTHER_TYPES or self._cell(cells, "I").upper() == _BUS_INFO:
            self.count_other(_OTHERS)
        elif kind in _FRAME_TYPES:
            self._frame(cells, time_ns, _FRAME_TYPES[kind], number, position, line)
        else:
            raise Damaged(f"a line of the unknown type {kind.decode('ascii', 'replace')[:20]}")

    def _cell(self, cells: list[bytes], letter: str) -> bytes:
        at = self._at[letter]
        if at >= len(cells):
            raise Damaged("fewer columns than its version has")
        return cells[at]

    def _channel(self, cells: list[bytes]) -> str:
        return self.channel_names[self._cell(cells, "B") if "B" in self._at else _NO_CHANNEL]

    def _time_ns(self, text: bytes) -> int:
        match = _OFFSET.fullmatch(text)
        if match is None:
            raise Damaged("its time is no number of milliseconds")
        offset = int(match[2]) * 1_000_000 + int((match[3] or b"").ljust(6, b"0"))
        if offset > LARGEST_SECONDS * 500_000_000:
            raise Damaged("its time is out of range")
        return self._start_ns + (-offset if match[1] else offset)

    def _frame(
        self, cells: list[bytes], time_ns: int, flags: int, number: int, position: int, line: bytes
    ) -> None:  # fmt: skip
        can_id, id_flags = self._identifier(self._cell(cells, "I"))
        flags |= id_flags | self._direction(cells)
        length = self._length(cells, fd=bool(flags & FrameFlag.FD))
        data = cells[self._at["D"]].strip() if len(cells) > self._at["D"] else b""
        if data.upper() == b"RTR":
            flags |= FrameFlag.REMOTE
        content = b"" if flags & FrameFlag.REMOTE else _bytes(data, length)
        self.add(time_ns, self._channel(cells), can_id, flags, content, length, number, position, line)

    def _error(self, cells: list[bytes], time_ns: int, number: int, position: int, line: bytes) -> None:
        """An error frame: its columns mean something else in each version, only bytes in hex are kept."""
        text = cells[self._at["D"]] if len(cells) > self._at["D"] else b""
        try:
            data = unhexlify(text.replace(b" ", b""))[:CLASSIC_BYTES]
        except HexError:
            data = b""
        self.add(
            time_ns, self._channel(cells), _BUS_ERROR, FrameFlag.ERROR.value, data, len(data), number, position, line
        )

    def _identifier(self, text: bytes) -> tuple[int, int]:
        try:
            can_id = int(text, 16)
        except ValueError:
            raise Damaged("its id is no hex number") from None
        if not 0 <= can_id <= LARGEST_29_BIT:
            raise Damaged("the id has more than 29 bits")
        if len(text) > 4:
            return can_id, FrameFlag.EXTENDED.value
        if can_id > LARGEST_11_BIT:
            raise Damaged("an 11-bit id is at most 7FF")
        return can_id, 0

    def _direction(self, cells: list[bytes]) -> int:
        if "d" not in self._at:
            return 0
        word = self._cell(cells, "d").upper()
        return _FRAME_TYPES[word] if word in (b"RX", b"TX") else 0

    def _length(self, cells: list[bytes], *, fd: bool) -> int:
        is_code = "L" in self._at
        text = self._cell(cells, "L" if is_code else "l")
        if not text.isdigit() or len(text) > 2:
            raise Damaged("its length is no number")
        length = int(text)
        if is_code and fd and length < len(_DLC_SIZES):
            return _DLC_SIZES[length]
        if is_code and not fd and CLASSIC_BYTES < length < len(_DLC_SIZES):
            return CLASSIC_BYTES  # DLC 9 to 15 still means 8 bytes
        if length not in FD_SIZES or (not fd and length > CLASSIC_BYTES):
            raise Damaged(f"{length} is no size of a frame")
        return length


def _bytes(text: bytes, length: int) -> bytes:
    """The bytes of a line, as many as it announces; what may stand behind them is left alone."""
    parts = text.split()[:length]
    try:
        data = unhexlify(b"".join(parts)) if all(len(part) == 2 for part in parts) else b""
    except HexError:
        raise Damaged("its data are no bytes") from None
    if len(data) != length:
        raise Damaged(f"{length} bytes announced, {len(data)} there")
    return data
