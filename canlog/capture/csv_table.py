"""Tables of frames as comma separated text, understood from the words of their header.

Theory of operation: the header's words say which column is the time, the id, the length and the
bytes; their order is free. A column that is not known is left alone. Times are whole counts or
decimal seconds. What a count is worth is not written anywhere: the unit is taken that makes the
rate of frames one a CAN bus can have, microseconds first. Stamps count from an unknown moment.

Source: layouts of the CC0 captures in fixtures/real (see SOURCES.md there); words of other headers
are common practice, no source.
"""

from __future__ import annotations

import re
from binascii import Error as HexError
from binascii import unhexlify
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from canlog.capture.candump_log import LARGEST_SECONDS
from canlog.capture.identifiers import ERROR_BIT, FD_SIZES, LARGEST_11_BIT, LARGEST_29_BIT
from canlog.capture.lines import UTF8_BOM, Damaged, LineReader, head_lines, peek
from canlog.frames import FrameFlag, FrameTable, TimeKind

NAME: Final = "csv"
ABOUT: Final = "CSV with a header naming time, id, length and bytes: Time Stamp,ID,Extended,Bus,LEN,D1,…"
EXPECTED: Final = "no header that names the columns time, id, length and data"

#: Words of a header, without case, spaces and signs, and the meaning of their column.
_WORDS: Final = {
    "timestamp": "time", "time": "time",
    "id": "id", "canid": "id", "identifier": "id",
    "extended": "extended", "ext": "extended", "ide": "extended",
    "dir": "direction", "direction": "direction",
    "bus": "channel", "channel": "channel", "interface": "channel",
    "len": "length", "length": "length",
    "data": "data", "payload": "data",
}  # fmt: skip
_BYTE: Final = re.compile(r"(?:d|b|byte|data)(\d{1,2})")
_TRUE: Final = frozenset((b"true", b"1", b"yes", b"x"))
_FALSE: Final = frozenset((b"false", b"0", b"no", b""))
_TIME: Final = re.compile(rb"(-?)(\d{1,19})(?:\.(\d{1,9}))?")
_SENT: Final = frozenset((b"tx", b"t", b"sent"))
_RECEIVED: Final = frozenset((b"rx", b"r", b"received"))

#: Units of a whole count, likeliest first, in ns.
_UNITS: Final = {"microseconds": 1_000, "milliseconds": 1_000_000, "seconds": 1_000_000_000, "nanoseconds": 1}
#: Frames a second that a capture of one or a few buses can hold: 1 Mbit/s carries about 20,000 short frames.
_SLOWEST_RATE, _FASTEST_RATE = 0.02, 60_000.0


@dataclass(frozen=True)
class _Layout:
    separator: bytes
    time: int
    id: int
    length: int | None
    data: tuple[int, ...]  # one column a byte, or one column for all
    extended: int | None
    direction: int | None
    channel: int | None

    @property
    def last(self) -> int:
        """The highest column a row without data must have."""
        return max(each for each in (self.time, self.id, self.length, self.extended, self.channel) if each is not None)


def recognise(head: bytes) -> float:
    """1 with a header that is understood and a row under it that is a frame, else 0."""
    lines = head_lines(head)
    layout = _layout(lines[0]) if lines else None
    if layout is None:
        return 0.0
    reader = _CsvTable(head)
    for line in lines[1:]:
        try:
            reader.read_line(line, 2, 0)
        except Damaged:
            continue
        return 1.0
    return 0.0


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of a table, chunk by chunk."""
    head, blocks = peek(blocks, recognise)
    return _CsvTable(head).tables(blocks)


def _layout(header: bytes) -> _Layout | None:
    separator = max((b",", b";", b"\t"), key=header.count)
    columns: dict[str, int] = {}
    data: dict[int, int] = {}
    for at, cell in enumerate(header.removeprefix(UTF8_BOM).strip().split(separator)):
        word = re.sub(r"[^a-z0-9]", "", cell.decode("utf-8", "replace").lower())
        if byte := _BYTE.fullmatch(word):
            data[int(byte[1])] = at
        elif word in _WORDS:
            columns.setdefault(_WORDS[word], at)
    bytes_at = tuple(data[number] for number in sorted(data)) or ((columns["data"],) if "data" in columns else ())
    if "time" not in columns or "id" not in columns or not bytes_at or (data and "length" not in columns):
        return None
    return _Layout(
        separator, columns["time"], columns["id"], columns.get("length"), bytes_at,
        columns.get("extended"), columns.get("direction"), columns.get("channel"),
    )  # fmt: skip


class _CsvTable(LineReader):
    def __init__(self, head: bytes) -> None:
        super().__init__()
        self.rows.time_kind = TimeKind.RELATIVE
        lines = head_lines(head)
        layout = _layout(lines[0]) if lines else None
        if layout is None:
            raise Damaged(EXPECTED)  # recognise() said otherwise: cannot happen through the registry
        self._header = lines[0]
        self._layout = layout
        self._unit_ns = self._settle_unit(lines[1:])

    def _settle_unit(self, lines: list[bytes]) -> int:
        rows = [cells for line in lines if len(cells := self._cells(line)) > self._layout.last]
        stamps = [cells[self._layout.time] for cells in rows if _TIME.fullmatch(cells[self._layout.time])]
        if 2 * sum(b"." in stamp for stamp in stamps) > len(stamps):
            return 1_000_000_000
        counts = [int(stamp) for stamp in stamps if b"." not in stamp]
        steps = sum(max(after - before, 0) for before, after in pairwise(counts))
        for name, unit_ns in _UNITS.items():
            if steps and _SLOWEST_RATE < len(counts) * 1e9 / (steps * unit_ns) < _FASTEST_RATE:
                self.note(f"the time column names no unit; its counts were taken as {name}")
                return unit_ns
        return _UNITS["microseconds"]

    def _cells(self, line: bytes) -> list[bytes]:
        return [cell.strip(b' "\t') for cell in line.strip().split(self._layout.separator)]

    def read_line(self, line: bytes, number: int, position: int) -> None:
        text = line.strip()
        if not text or text.startswith(b"#") or line.strip() == self._header.strip():
            return
        cells, layout = self._cells(line), self._layout
        if len(cells) <= layout.last:
            raise Damaged("fewer columns than the header")
        data = self._data(cells)
        can_id, flags = self._identifier(cells)
        flags |= self._direction(cells)
        if len(data) > 8:
            flags |= FrameFlag.FD
        channel = self.channel_names[cells[layout.channel] if layout.channel is not None else b"bus"]
        self.add(self._time_ns(cells[layout.time]), channel, can_id, flags, data, len(data), number, position, line)

    def _time_ns(self, text: bytes) -> int:
        match = _TIME.fullmatch(text)
        if match is None:
            raise Damaged("its time is no number")
        if match[3] and self._unit_ns != 1_000_000_000:
            raise Damaged("its time has decimals, though the others have none")
        time_ns = int(match[2]) * self._unit_ns + int((match[3] or b"").ljust(9, b"0"))
        if time_ns > LARGEST_SECONDS * 1_000_000_000:
            raise Damaged("its time is out of range")
        return -time_ns if match[1] else time_ns

    def _identifier(self, cells: list[bytes]) -> tuple[int, int]:
        text, at = cells[self._layout.id], self._layout.extended
        try:
            can_id = int(text, 16)
        except ValueError:
            raise Damaged("its id is no hex number") from None
        if 0 <= can_id - ERROR_BIT <= LARGEST_29_BIT:
            return can_id - ERROR_BIT, FrameFlag.ERROR.value
        if not 0 <= can_id <= LARGEST_29_BIT:
            raise Damaged("the id has more than 29 bits")
        extended = can_id > LARGEST_11_BIT if at is None else _truth(cells[at])
        if can_id > LARGEST_11_BIT and not extended:
            raise Damaged("an 11-bit id is at most 7FF")
        return can_id, FrameFlag.EXTENDED.value if extended else 0

    def _direction(self, cells: list[bytes]) -> int:
        at = self._layout.direction
        word = cells[at].lower() if at is not None and at < len(cells) else b""
        if word in _SENT:
            return FrameFlag.SENT.value
        return FrameFlag.RECEIVED.value if word in _RECEIVED else 0

    def _data(self, cells: list[bytes]) -> bytes:
        layout = self._layout
        there = [cells[at] for at in layout.data if at < len(cells)]
        try:
            data = unhexlify(b"".join(there).replace(b" ", b""))
            length = len(data) if layout.length is None else int(cells[layout.length])
        except (HexError, ValueError):
            raise Damaged("its length or data are no numbers") from None
        if length != len(data) or length not in FD_SIZES:
            raise Damaged(f"length {length}, but {len(data)} bytes")
        return data


def _truth(word: bytes) -> bool:
    if word.lower() in _TRUE:
        return True
    if word.lower() in _FALSE:
        return False
    raise Damaged("its extended column says neither yes nor no")
