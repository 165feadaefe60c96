"""Tables of frames as separated text, understood from the words of their header.

Theory of operation: the header's words say which column is the time, the id, the length and the bytes
(:mod:`canlog.capture.csv_header`), or the user names the columns. The rows in the head of the capture say
what words do not: the unit of the time, whether ids and bytes are hex or decimal, and whether one column
holds all bytes as hex, as numbers or in base64. A row that does not fit is damage.

Source: layouts of the CC0 captures in fixtures/real (see SOURCES.md there) and of python-can 4.6.1's CSV
writer (can/io/csv.py).
"""

from __future__ import annotations

import csv
import re
from binascii import Error as HexError
from binascii import a2b_base64, unhexlify
from collections.abc import Iterable, Iterator
from typing import Final

from canlog.capture.csv_header import SEPARATORS, Layout, layout_of, read_header
from canlog.capture.identifiers import ERROR_BIT, FD_SIZES, LARGEST_11_BIT, LARGEST_29_BIT
from canlog.capture.lines import Damaged, LineReader, head_lines, peek
from canlog.capture.number_base import (
    NOTE_DECIMAL_BYTES,
    NOTE_DECIMAL_IDS,
    base_of_bytes,
    base_of_ids,
    number,
    without_hex_signs,
)
from canlog.capture.stamp_text import Stamps
from canlog.errors import CaptureError
from canlog.frames import FrameFlag, FrameTable, TimeKind

NAME: Final = "csv"
ABOUT: Final = "CSV with a header naming time, id, length and bytes: Time Stamp,ID,Extended,Bus,LEN,D1,…"
EXPECTED: Final = "no header that names the columns id and data"
EVIDENCE: Final = "a header whose words name an id and data (in any order), and a row under it that is a frame"
CANNOT_TELL: Final = "what it has no column for; the unit of a time that names none; the zone of a date"
SUFFIXES: Final = (".csv", ".tsv")

_TRUE: Final = frozenset((b"true", b"1", b"yes", b"x"))
_FALSE: Final = frozenset((b"false", b"0", b"no", b"", b"s"))
_SENT: Final = frozenset((b"tx", b"t", b"sent"))
_RECEIVED: Final = frozenset((b"rx", b"r", b"received"))
_BUS_ERROR: Final = 0x080
_PARTS: Final = re.compile(rb"[\s,;:.\[\]()-]+")
_BASE64: Final = re.compile(rb"(?:[A-Za-z0-9+/]{4})*(?:[A-Za-z0-9+/]{2}==|[A-Za-z0-9+/]{3}=)?")
#: Share of bytes with one digit from which a writer leaves zeros out; fewer have lost a digit.
_ZEROS_LEFT_OUT: Final = 0.2
_HEADER_WITHIN: Final = 20  # lines; above it may stand what the logger says of itself


def recognise(head: bytes) -> float:
    """1 with a header that is understood and a row under it that is a frame, else 0."""
    lines = head_lines(head)
    found = _find_header(lines)
    return _share(lines, *found) if found else 0.0


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of a table, chunk by chunk."""
    head, blocks = peek(blocks, recognise)
    lines = head_lines(head)
    found = _find_header(lines)
    if found is None:
        raise Damaged(EXPECTED)  # recognise() said otherwise: cannot happen through the registry
    return _CsvTable(lines, *found).tables(blocks)


class NamedColumns:
    """The same form for tables without a header: the user says what the columns are."""

    NAME: Final = NAME
    ABOUT: Final = ABOUT
    EXPECTED: Final = "no row that is a frame in the columns named"
    EVIDENCE: Final = "the columns were named by the user"
    CANNOT_TELL: Final = CANNOT_TELL
    SUFFIXES: Final = SUFFIXES

    def __init__(self, names: tuple[str, ...]) -> None:
        self.names = names

    def __repr__(self) -> str:
        return f"NamedColumns({self.names!r})"

    def recognise(self, head: bytes) -> float:
        """1 with a row that is a frame in these columns, else 0."""
        lines = head_lines(head)
        return _share(lines, b"", self._layout(lines))

    def read(self, blocks: Iterable[bytes]) -> Iterator[FrameTable]:
        """The frames of the table, chunk by chunk."""
        head, blocks = peek(blocks, self.recognise)
        lines = head_lines(head)
        return _CsvTable(lines, b"", self._layout(lines)).tables(blocks)

    def _layout(self, lines: list[bytes]) -> Layout:
        sample = b"\n".join(lines[:_HEADER_WITHIN])
        separator = max(SEPARATORS, key=sample.count)
        layout = layout_of(self.names, separator if separator in sample else b" ")
        assert layout is not None  # named_columns() looked
        return layout


def named_columns(text: str) -> NamedColumns:
    """A reader for tables whose columns the user names: ``time,id,data`` or ``time_ms;-;id;dlc;d0;d1``.

    A name that is not known stands for a column to leave out.

    Raises:
        CaptureError: no column is the id, or none holds bytes.
    """
    names = tuple(name.strip() for name in re.split("[,;]", text))
    if layout_of(names, b",") is None:
        raise CaptureError(f"columns {text!r} name no id or no data", hint="for example --columns time,id,data")
    return NamedColumns(names)


def _find_header(lines: list[bytes]) -> tuple[bytes, Layout] | None:
    for line in lines[:_HEADER_WITHIN]:
        layout = read_header(line)
        if layout is not None:
            return line.strip(), layout
    return None


def _share(lines: list[bytes], header: bytes, layout: Layout) -> float:
    """1 if some row is a frame, else 0: a header that is understood is evidence enough."""
    reader = _CsvTable(lines, header, layout)
    for line in lines:
        try:
            reader.read_line(line, 1, 0)
        except Damaged:
            continue
        if len(reader.rows):
            return 1.0
    return 0.0


class _CsvTable(LineReader):
    def __init__(self, head: list[bytes], header: bytes, layout: Layout) -> None:
        super().__init__()
        self._header = header
        self._layout = layout
        rows = [cells for line in head if (cells := self._cells_or_none(line, header)) is not None]
        stamps = [cells[layout.time] for cells in rows] if layout.time is not None else []
        self._stamps = Stamps(stamps, layout.unit)
        self.rows.time_kind = self._stamps.time_kind if stamps else TimeKind.NONE
        self.rows.notes += self._stamps.notes if stamps else []
        self._id_base = base_of_ids([cells[layout.id] for cells in rows])
        parts = [part for cells in rows for part in self._byte_texts(cells)]
        self._is_base64 = len(layout.data) == 1 and _are_base64(parts)
        self._byte_base = self._settle_bytes([] if self._is_base64 else parts)
        self._leaves_zeros_out = sum(len(part) == 1 for part in parts) > _ZEROS_LEFT_OUT * len(parts)
        if self._id_base == 10:
            self.note(NOTE_DECIMAL_IDS)

    def _cells_or_none(self, line: bytes, header: bytes) -> list[bytes] | None:
        """The cells of a line that may be a row."""
        try:
            cells = [] if line.strip() == header else self._cells(line)
        except Damaged:
            return None
        return cells if len(cells) > self._layout.last else None

    def _settle_bytes(self, parts: list[bytes]) -> int:
        """16 or 10; for one column of whole hex text the parts are longer than a byte."""
        small = [part for part in parts if len(without_hex_signs(part)) <= 3]
        if len(small) < len(parts) or not parts:
            return 16
        base = base_of_bytes(parts) or self._id_base
        if base == 10:
            self.note(NOTE_DECIMAL_BYTES)
        return base

    def _cells(self, line: bytes) -> list[bytes]:
        text = line.strip(b"\r\n")
        separator = self._layout.separator
        if separator == b" ":
            return text.split()
        if b'"' in text:
            try:
                row = next(csv.reader([text.decode("utf-8", "replace")], delimiter=separator.decode(), strict=True), [])
            except csv.Error as error:
                raise Damaged(f"no row of a table ({error})") from None
            cells = [cell.encode() for cell in row]
        else:
            cells = text.split(separator)
        return [cell.strip(b' "\t') for cell in cells]

    def _byte_texts(self, cells: list[bytes]) -> list[bytes]:
        """The texts of the bytes: one each, or one for all of them."""
        columns = self._layout.data
        if columns == (self._layout.n_columns - 1,):
            there = cells[columns[0] :]  # one column, the last: bytes may be split by the separator too
        else:
            there = [cells[at] for at in columns if at < len(cells)]
        return [part for cell in there for part in _PARTS.split(cell) if part]

    def read_line(self, line: bytes, number: int, position: int) -> None:
        text = line.strip()
        if not text or text.startswith(b"#") or text == self._header:
            return
        cells, layout = self._cells(line), self._layout
        if len(cells) <= layout.last:
            raise Damaged("fewer columns than the header")
        can_id, flags = self._identifier(cells)
        flags |= self._direction(cells)
        data = b"" if flags & FrameFlag.REMOTE else self._data(cells)
        length = self._length(cells, len(data))
        if flags & FrameFlag.REMOTE:
            length = min(length, 8)
        elif length != len(data) or length not in FD_SIZES:
            raise Damaged(f"length {length}, but {len(data)} bytes")
        if len(data) > 8:
            flags |= FrameFlag.FD
        time_ns = self._stamps.time_ns(cells[layout.time]) if layout.time is not None else 0
        channel = self.channel_names[cells[layout.channel] if layout.channel is not None else b"bus"]
        self.add(time_ns, channel, can_id, int(flags), data, length, number, position, line)

    def _identifier(self, cells: list[bytes]) -> tuple[int, int]:
        layout = self._layout
        if layout.error is not None and _truth(cells[layout.error], "error"):
            return _BUS_ERROR, FrameFlag.ERROR.value
        try:
            text = cells[layout.id]
            can_id = number(without_hex_signs(text) if self._id_base == 16 else text, self._id_base)
        except ValueError:
            raise Damaged(f"its id is no {'hex' if self._id_base == 16 else 'decimal'} number") from None
        if 0 <= can_id - ERROR_BIT <= LARGEST_29_BIT:
            return can_id - ERROR_BIT, FrameFlag.ERROR.value
        if not 0 <= can_id <= LARGEST_29_BIT:
            raise Damaged("the id has more than 29 bits")
        flags = 0
        if layout.remote is not None and _truth(cells[layout.remote], "remote"):
            flags |= FrameFlag.REMOTE.value
        extended = can_id > LARGEST_11_BIT if layout.extended is None else _truth(cells[layout.extended], "extended")
        if can_id > LARGEST_11_BIT and not extended:
            raise Damaged("an 11-bit id is at most 7FF")
        return can_id, flags | FrameFlag.EXTENDED.value if extended else flags

    def _direction(self, cells: list[bytes]) -> int:
        at = self._layout.direction
        word = cells[at].lower() if at is not None and at < len(cells) else b""
        if word in _SENT:
            return FrameFlag.SENT.value
        return FrameFlag.RECEIVED.value if word in _RECEIVED else 0

    def _length(self, cells: list[bytes], n_bytes: int) -> int:
        if self._layout.length is None:
            return n_bytes
        text = cells[self._layout.length]
        if not text.isdigit() or len(text) > 4:
            raise Damaged("its length or data are no numbers")
        return int(text)

    def _data(self, cells: list[bytes]) -> bytes:
        try:
            if self._is_base64:
                return a2b_base64(b"".join(cells[at] for at in self._layout.data if at < len(cells)), strict_mode=True)
            parts = self._byte_texts(cells)
            if self._byte_base == 10:
                return bytes(number(part, 10) for part in parts)
            digits = [without_hex_signs(part) for part in parts]
            if self._leaves_zeros_out:
                digits = [part.rjust(2, b"0") for part in digits]
            return unhexlify(b"".join(digits))
        except (HexError, ValueError):
            raise Damaged("its length or data are no numbers") from None


def _are_base64(parts: list[bytes]) -> bool:
    """True if the texts cannot all be hex, but all be base64."""
    if not parts or all(re.fullmatch(rb"(?:0[xX])?(?:[0-9A-Fa-f]{1,3}|(?:[0-9A-Fa-f]{2})+)", part) for part in parts):
        return False
    return sum(_BASE64.fullmatch(part) is not None for part in parts) > 0.9 * len(parts)


def _truth(word: bytes, column: str) -> bool:
    if word.lower() in _TRUE:
        return True
    if word.lower() in _FALSE:
        return False
    raise Damaged(f"its {column} column says neither yes nor no")
