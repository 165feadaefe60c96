"""What the words over a table's columns say: which is the time, the id, the length, the bytes.

The order of columns is free and a word that is not known is left alone. Case, spaces and signs do not count.

Source: layouts of the CC0 captures in fixtures/real (see SOURCES.md there) and of python-can 4.6.1's CSV
writer; words of other headers are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from canlog.capture.lines import UTF8_BOM

SEPARATORS: Final = (b",", b";", b"\t", b"|")

_WORDS: Final = {
    "id": "id", "canid": "id", "identifier": "id", "arbitrationid": "id", "msgid": "id", "messageid": "id",
    "frameid": "id", "arbid": "id", "idhex": "id", "canidhex": "id",
    "extended": "extended", "ext": "extended", "ide": "extended", "isextended": "extended",
    "isextendedid": "extended", "xtd": "extended",
    "dir": "direction", "direction": "direction", "rxtx": "direction", "txrx": "direction",
    "bus": "channel", "channel": "channel", "interface": "channel", "ch": "channel", "chan": "channel",
    "len": "length", "length": "length", "dlc": "length", "datalength": "length", "size": "length", "dl": "length",
    "data": "data", "payload": "data", "databytes": "data", "bytes": "data", "datahex": "data",
    "remote": "remote", "rtr": "remote", "isremoteframe": "remote", "error": "error", "iserrorframe": "error",
}  # fmt: skip
_TIME: Final = re.compile(r"(?:timestamp|time|abstime|reltime|offset|ts)(s|sec|seconds|ms|msec|us|usec|ns|nsec)?")
_BYTE: Final = re.compile(r"(?:d|b|byte|data|databyte)(\d{1,2})")
_UNITS: Final = {"s": "seconds", "m": "milliseconds", "u": "microseconds", "n": "nanoseconds"}


@dataclass(frozen=True)
class Layout:
    """Which column holds what; the first column is 0."""

    separator: bytes
    id: int
    data: tuple[int, ...]  # one column a byte, or one column for all
    n_columns: int
    time: int | None = None
    unit: str = ""  # of the time, where its word names it
    length: int | None = None
    extended: int | None = None
    direction: int | None = None
    channel: int | None = None
    remote: int | None = None
    error: int | None = None

    @property
    def last(self) -> int:
        """The highest column a row without data must have."""
        first_byte = self.data[0] if self.length is None else None  # without a length a cut row would be an empty frame
        needed = (first_byte, self.time, self.id, self.length, self.extended, self.channel, self.remote, self.error)
        return max(each for each in needed if each is not None)


def separator_of(line: bytes) -> bytes:
    """The sign between the columns of a line."""
    return max(SEPARATORS, key=line.count)


def read_header(line: bytes) -> Layout | None:
    """The layout that a header names; None if it is no header, or names too little."""
    separator = separator_of(line)
    cells = line.removeprefix(UTF8_BOM).strip().split(separator)
    return layout_of([cell.decode("utf-8", "replace") for cell in cells], separator)


def time_unit(word: str) -> str | None:
    """The unit that a word for time names (``timestampus``), nothing if it names none, None if it is another word."""
    match = _TIME.fullmatch(re.sub(r"[^a-z]", "", word.lower()))
    if match is None:
        return None
    return _UNITS[match[1][0]] if match[1] else ""


def layout_of(names: Sequence[str], separator: bytes) -> Layout | None:
    """The layout of named columns; None without an id and data."""
    columns: dict[str, int] = {}
    data: dict[int, int] = {}
    unit = ""
    for at, name in enumerate(names[:200]):
        word = re.sub(r"[^a-z0-9]", "", name.lower().replace("µ", "u").replace("μ", "u"))
        if byte := _BYTE.fullmatch(word):
            data.setdefault(int(byte[1]), at)
        elif word in _WORDS:
            columns.setdefault(_WORDS[word], at)
        elif (time := time_unit(word)) is not None and "time" not in columns:
            columns["time"], unit = at, time
    bytes_at = tuple(data[number] for number in sorted(data)) or ((columns["data"],) if "data" in columns else ())
    columns.pop("data", None)
    if "id" not in columns or not bytes_at:
        return None
    return Layout(separator, data=bytes_at, n_columns=len(names), unit=unit, **columns)
