"""ASC text logs: ``TIME CH ID[x] Rx|Tx d DLC DD DD …`` under a short header.

Theory of operation: header lines set the number base and how stamps count; every other line that is
no frame is an event (status, statistics, comment) or damage. Stamps count from the start of the
measurement. The header's date names no time zone that could be trusted, so times are relative.
``timestamps relative`` means each counts from the line before; they are added up.

An error frame's kind is not written; it is kept as class "bus error" (080, linux/can/error.h).

Source: the open reader and writer of python-can 4.6.1 (can/io/asc.py); the meaning of the bit "FD" in
the flags behind a CAN FD line's data is from there too.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Final

from canlog.capture.candump_log import LARGEST_SECONDS
from canlog.capture.identifiers import CLASSIC_BYTES, FD_SIZES, LARGEST_11_BIT, LARGEST_29_BIT
from canlog.capture.lines import Damaged, LineReader, head_lines, peek
from canlog.capture.send_requests import NOTE_SKIPPED, SendRequests
from canlog.frames import FrameFlag, FrameTable, TimeKind

NAME: Final = "asc"
ABOUT: Final = "ASC text: 0.153600 1  7E0  Rx  d 8 02 10 03 00 00 00 00 00"
EXPECTED: Final = "no line like `0.153600 1  7E0  Rx  d 3 02 10 03`"
EVIDENCE: Final = "lines of a time, a channel number, an id, Rx or Tx, `d`, a length and as many bytes"
CANNOT_TELL: Final = "absolute time; the kind of an error frame"
SUFFIXES: Final = (".asc",)

_STAMP: Final = rb"\s*(?P<sign>-?)(?P<seconds>\d{1,10})[.,](?P<decimals>\d{1,9})\s+"
_CLASSIC: Final = re.compile(
    _STAMP + rb"(?P<channel>\d+)\s+(?P<id>[0-9A-Fa-f]+[xX]?)\s+(?P<direction>Rx|Tx|TxRq)\s+"
    rb"(?P<kind>[dr])(?:\s+(?P<dlc>[0-9A-Fa-f]))?(?P<rest>(?:\s.*)?)",
    re.IGNORECASE,
)
_FD: Final = re.compile(
    _STAMP
    + rb"CANFD\s+(?P<channel>\d+)\s+(?P<direction>Rx|Tx|TxRq)\s+(?P<id>[0-9A-Fa-f]+[xX]?)\s+(?:\S*[^\s\d]\S*\s+)?"
    rb"(?P<brs>[01])\s+(?P<esi>[01])\s+(?P<dlc>[0-9A-Fa-f])\s+(?P<length>\d{1,2})(?P<rest>(?:\s.*)?)",
    re.IGNORECASE,
)
_ERROR: Final = re.compile(
    _STAMP + rb"(?:CANFD\s+)?(?P<channel>\d+)\s+(?:(?:Rx|Tx)\s+)?ErrorFrame(?P<rest>.*)", re.IGNORECASE
)
_BASE: Final = re.compile(
    rb"\s*base\s+(?P<base>hex|dec)(?:\s+timestamps\s+(?P<stamps>absolute|relative))?", re.IGNORECASE
)
#: Lines that belong to the form and say nothing of frames.
_EVENT: Final = re.compile(
    rb"\s*(?://|date\b|base\b|begin\s+triggerblock|end\s+triggerblock|(?:no\s+)?internal\s+events"
    rb"|-?\d+[.,]\d+\s+(?:start of measurement|log (?:direct|trigger)|triggerevent|sv:|j1939tp|tfs:|//"
    rb"|(?:can\s*|canfd\s+)?\d+\s+(?:status|statistic)))",
    re.IGNORECASE,
)
_STATISTIC: Final = re.compile(rb"\s*-?\d+[.,]\d+\s+(?:can\s*|canfd\s+)?\d+\s+(?:status|statistic)", re.IGNORECASE)

_BUS_ERROR: Final = 0x080
_DLC_SIZES: Final = sorted(FD_SIZES)  # index is the DLC
_FLAG_FD: Final = 0x1000
NOTE_NO_X: Final = "29-bit ids are written without `x`; ids above 7FF are taken as 29 bit"
NOTE_NO_HEADER: Final = "no header with the number base; hex was assumed"


def recognise(head: bytes) -> float:
    """The share of lines that are frames, headers or events of this form; 0 without a frame."""
    lines = head_lines(head)
    frames = sum(bool(_CLASSIC.fullmatch(line) or _FD.fullmatch(line) or _ERROR.fullmatch(line)) for line in lines)
    events = sum(_EVENT.match(line) is not None for line in lines)
    return (frames + events) / len(lines) if frames else 0.0


def _is_sent(line: bytes) -> bool:
    match = _CLASSIC.fullmatch(line) or _FD.fullmatch(line)
    return match is not None and match["direction"].lower() == b"tx"


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of an ASC log, chunk by chunk."""
    head, blocks = peek(blocks, recognise)
    return _Asc(head).tables(blocks)


class _Asc(LineReader):
    def __init__(self, head: bytes) -> None:
        super().__init__()
        self.rows.time_kind = TimeKind.RELATIVE
        self._base = 16
        self._sums = False
        self._sum_ns = 0
        self._requests = SendRequests(frames_sent=any(_is_sent(line) for line in head_lines(head)))
        if not any(_BASE.match(line) for line in head_lines(head)):
            self.note(NOTE_NO_HEADER)

    def read_line(self, line: bytes, number: int, position: int) -> None:
        if match := _CLASSIC.fullmatch(line):
            can_id, flags = self._identifier(match["id"])
            data, length, more = self._classic_content(match)
        elif match := _FD.fullmatch(line):
            can_id, flags = self._identifier(match["id"])
            data, length, more = self._fd_content(match)
        elif match := _ERROR.fullmatch(line):
            can_id, flags, data, length, more = _BUS_ERROR, FrameFlag.ERROR.value, b"", 0, 0
        else:
            self._no_frame(line)
            return
        direction = match.groupdict().get("direction")
        channel = self.channel_names[match["channel"]]
        if direction:
            more |= FrameFlag.RECEIVED if direction.lower() == b"rx" else FrameFlag.SENT
        if more & FrameFlag.SENT and self._requests.is_copy(
            channel, can_id, data, is_request=(direction or b"").lower() == b"txrq"
        ):
            self.note(NOTE_SKIPPED)
            return
        self.add(self._time_ns(match), channel, can_id, flags | more, data, length, number, position, line)

    def _no_frame(self, line: bytes) -> None:
        if not line.strip():
            return
        if match := _BASE.match(line):
            self._base = 10 if match["base"].lower() == b"dec" else 16
            self._sums = (match["stamps"] or b"").lower() == b"relative"
        elif _EVENT.match(line) is None:
            raise Damaged("neither a frame nor an event of this form")
        elif _STATISTIC.match(line):
            self.count_other("lines of status or statistics that are no frames")

    def _time_ns(self, match: re.Match[bytes]) -> int:
        stamp = int(match["seconds"]) * 1_000_000_000 + int(match["decimals"].ljust(9, b"0"))
        stamp = -stamp if match["sign"] else stamp
        total = stamp + (self._sum_ns if self._sums else 0)
        if abs(total) > LARGEST_SECONDS * 1_000_000_000:
            raise Damaged("its time is out of range")
        if self._sums:
            self._sum_ns = total
        return total

    def _identifier(self, text: bytes) -> tuple[int, int]:
        extended = text[-1:] in b"xX"
        try:
            can_id = int(text.rstrip(b"xX"), self._base)
        except ValueError:
            raise Damaged("its id is no number of the file's base") from None
        if can_id > LARGEST_29_BIT:
            raise Damaged("the id has more than 29 bits")
        if can_id > LARGEST_11_BIT and not extended:
            self.note(NOTE_NO_X)
            extended = True
        return can_id, FrameFlag.EXTENDED.value if extended else 0

    def _classic_content(self, match: re.Match[bytes]) -> tuple[bytes, int, int]:
        length = min(int(match["dlc"] or b"0", 16), CLASSIC_BYTES)  # DLC 9 to 15 still means 8 bytes
        if match["kind"].lower() == b"r":
            return b"", length, FrameFlag.REMOTE.value
        if match["dlc"] is None:
            raise Damaged("a data frame without a length")
        return self._bytes(match["rest"], length)[0], length, 0

    def _fd_content(self, match: re.Match[bytes]) -> tuple[bytes, int, int]:
        length = int(match["length"])
        if length not in FD_SIZES or length > _DLC_SIZES[int(match["dlc"], 16)]:
            raise Damaged(f"length {length} does not fit DLC {match['dlc'].decode()}")
        data, rest = self._bytes(match["rest"], length)
        flags = FrameFlag.FD.value
        if len(rest) > 2 and _is_classic(rest[2]):  # duration, bits, flags
            flags = 0
            if length > CLASSIC_BYTES:
                raise Damaged(f"{length} bytes in a classic frame")
        else:
            flags |= (FrameFlag.BRS if match["brs"] == b"1" else 0) | (FrameFlag.ESI if match["esi"] == b"1" else 0)
        return data, length, int(flags)

    def _bytes(self, text: bytes, length: int) -> tuple[bytes, list[bytes]]:
        parts = text.split()
        try:
            data = bytes(int(part, self._base) for part in parts[:length])
        except ValueError:
            raise Damaged("its data are no bytes") from None
        if len(data) != length:
            raise Damaged(f"{length} bytes announced, {len(data)} there")
        return data, parts[length:]


def _is_classic(flags: bytes) -> bool:
    try:
        return not int(flags, 16) & _FLAG_FD
    except ValueError:
        return False
