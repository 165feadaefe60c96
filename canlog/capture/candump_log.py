"""candump's log form, ``(SEC.FRAC) CHANNEL ID#DATA``: one frame a line.

Theory of operation: one pattern takes a line apart; what stands behind the ``#`` is plain hex nearly
always, and only when it is not (FD, remote, raw DLC, dots) a second look is taken. A line that does
not fit is damage with a reason, a ``DROPCOUNT`` line is the logger's own word for lost frames.

Stamps are read from their digits. candump writes 6 decimals, or 9 with ``-N``, always as many; a stamp
with another number of decimals than its neighbours has lost a digit. A line without a time in a
capture whose lines have one is cut.

Source: can-utils, candump.c and lib.c at 95aae6b; linux/can/error.h.
"""

from __future__ import annotations

import re
from binascii import Error as HexError
from binascii import unhexlify
from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Final

from canlog.capture.identifiers import CLASSIC_BYTES, NOTE_UNPADDED, Identifiers, check_size
from canlog.capture.lines import Damaged, LineReader, head_lines, peek
from canlog.frames import DropMarker, FrameFlag, FrameTable, TimeKind

NAME: Final = "candump-log"
ABOUT: Final = "candump's log form: (1436509052.249713) can0 7E0#021003"
EXPECTED: Final = "no line like `(1436509052.249713) can0 7E0#021003`"
EVIDENCE: Final = "lines of a time in parentheses, a channel, an id, `#` and its bytes"
CANNOT_TELL: Final = "direction, unless candump ran with -x"
SUFFIXES: Final[tuple[str, ...]] = ()  # .log and .txt say nothing

_LINE: Final = re.compile(
    rb"\s*(?:\((\d{1,10})(?:\.(\d{1,9}))?\)\s+)?([^\s()#]+)\s+(?:0[xX])?([0-9A-Fa-f]{1,8})#(\S*)(?:\s+([RTrt]))?\s*"
)
_REMOTE: Final = re.compile(rb"[Rr]([0-8])?(?:_([9A-Fa-f]))?")
_RAW_DLC: Final = re.compile(rb"((?:[0-9A-Fa-f]{2}){8})_[9A-Fa-f]")
_FD: Final = re.compile(rb"#([0-9A-Fa-f])(.*)")
_XL: Final = re.compile(rb"[0-9A-Fa-f]{2}:[0-9A-Fa-f]{2}:[0-9A-Fa-f]{8}#.*")
_DROPPED: Final = re.compile(rb"\s*DROPCOUNT: dropped (\d+) CAN frame")
_SPLICE: Final = re.compile(rb"(\s*\([^()]*\)[^()]*)(\(.*)")

_DIRECTION: Final[dict[bytes | None, int]] = {
    None: 0,
    b"R": FrameFlag.RECEIVED.value, b"r": FrameFlag.RECEIVED.value,
    b"T": FrameFlag.SENT.value, b"t": FrameFlag.SENT.value,
}  # fmt: skip
_BRS, _ESI = 1, 2  # flag digit of an FD frame; 4 only repeats that it is FD
_DECIMALS: Final = (6, 9)  # what candump writes
LARGEST_SECONDS: Final = 9_223_372_035  # int64 nanoseconds end one second later


def recognise(head: bytes) -> float:
    """The share of lines that are frames in this form."""
    lines = head_lines(head)
    return sum(_LINE.fullmatch(line) is not None for line in lines) / max(len(lines), 1)


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of a log, chunk by chunk."""
    head, blocks = peek(blocks, recognise)
    return CandumpLog(head).tables(blocks)


def drop_marker(line: bytes, number: int) -> DropMarker | None:
    """What the logger says of frames it lost, in both of candump's forms."""
    match = _DROPPED.match(line)
    if match is None:
        return None
    return DropMarker(number, min(int(match[1][:18]), 2**62), line[:200].decode("utf-8", "replace").strip())


#: What :meth:`LineReader.add` takes of a frame, in its order: time, channel, id, flags, data, length.
_Parts = tuple[int, str, int, int, bytes, int]


class CandumpLog(LineReader):
    """The reader of single lines."""

    def __init__(self, head: bytes) -> None:
        super().__init__()
        matches = [match for line in head_lines(head) if (match := _LINE.fullmatch(line))]
        stamps = [(match[1], match[2] or b"") for match in matches if match[1] and int(match[1]) <= LARGEST_SECONDS]
        self._decimals = usual_decimals([decimals for _, decimals in stamps])
        self._channels = Counter(match[3] for match in matches)
        self._identifiers = Identifiers()
        self._second: bytes | None = None
        self._second_ns = 0
        self.timed = any(match[1] for match in matches)
        if stamps:
            self.last_ns = sorted(self._time_ns(*stamp) for stamp in stamps)[len(stamps) // 2]
        if not self.timed:
            self.rows.time_kind = TimeKind.NONE

    def read_line(self, line: bytes, number: int, position: int) -> None:
        """A frame, a logger's word for lost frames, nothing, or damage."""
        match = _LINE.fullmatch(line)
        if match is None:
            self._no_frame(line, number, position)
        else:
            self.add(*self._frame(match, number), number, position, line)

    def _frame(self, match: re.Match[bytes], number: int) -> _Parts:
        seconds, decimals, channel, can_id, body, direction = match.groups()
        if self.timed:
            if seconds is None:
                raise Damaged("no time, though the other lines have one")
            if self._decimals is not None and len(decimals or b"") not in self._decimals:
                raise Damaged("its time has not as many decimals as the others'")
            time_ns = self._time_ns(seconds, decimals)
        else:
            time_ns = 0
            self._check_untimed(seconds, channel, number)
        value, flags = self._identifiers[can_id]
        try:
            data = unhexlify(body)
            length = len(data)
            if length > CLASSIC_BYTES:
                check_size(length, fd=False)
        except HexError:
            data, length, more_flags = _special(body, flags)
            flags |= more_flags
        self.note_unpadded()
        return time_ns, self.channel_names[channel], value, flags | _DIRECTION[direction], data, length

    def note_unpadded(self) -> None:
        """A frame was read: if an id before it or its own lacks zeros, say so."""
        if self._identifiers.unpadded:
            self.note(NOTE_UNPADDED)

    def _time_ns(self, seconds: bytes, decimals: bytes | None) -> int:
        if seconds != self._second:
            whole = int(seconds)
            if whole > LARGEST_SECONDS:
                raise Damaged("its time is out of range")
            self._second, self._second_ns = seconds, whole * 1_000_000_000
        return self._second_ns + int(decimals.ljust(9, b"0")) if decimals else self._second_ns

    def _check_untimed(self, seconds: bytes | None, channel: bytes, number: int) -> None:
        if seconds is not None:
            raise Damaged("a time, though the other lines have none")
        if number == 1 and is_cut_name(channel, self._channels):
            raise Damaged("the first line is cut")

    def _no_frame(self, line: bytes, number: int, position: int) -> None:
        text = line.strip()
        if not text or text.startswith(b"#"):
            return
        marker = drop_marker(text, number)
        if marker is not None:
            self.rows.drops.append(marker)
            return
        halves = _SPLICE.fullmatch(line)
        if halves is None:
            raise Damaged("no CAN frame")
        self._read_splice(halves[1], halves[2], line, number, position)

    def _read_splice(self, first: bytes, second: bytes, line: bytes, number: int, position: int) -> None:
        """Two lines that lost the line end between them: kept if both are whole, else neither.

        Nothing in a line says how much data belongs to it, so the first is known to be whole only if it is full.
        """
        matches = _LINE.fullmatch(first), _LINE.fullmatch(second)
        if matches[0] is None or matches[1] is None or len(matches[0][5]) != 2 * CLASSIC_BYTES:
            raise Damaged("two lines spliced")
        frames = self._frame(matches[0], number), self._frame(matches[1], number)
        self.add(*frames[0], number, position, line)
        self.add(*frames[1], number, position + len(first), line)


def _special(body: bytes, flags: int) -> tuple[bytes, int, int]:
    """Data, length and more flags of what stands behind the ``#`` when it is not plain hex."""
    if match := _REMOTE.fullmatch(body):
        if flags & FrameFlag.ERROR:
            raise Damaged("an error frame is never remote")
        return b"", int(match[1] or b"0"), FrameFlag.REMOTE.value
    if match := _RAW_DLC.fullmatch(body):
        return unhexlify(match[1]), CLASSIC_BYTES, 0
    if match := _FD.fullmatch(body):
        if flags & FrameFlag.ERROR:
            raise Damaged("an error frame is never CAN FD")
        digit = int(match[1], 16)
        fd_flags = FrameFlag.FD | (FrameFlag.BRS if digit & _BRS else 0) | (FrameFlag.ESI if digit & _ESI else 0)
        data = _hex_bytes(match[2], fd=True)
        return data, len(data), int(fd_flags)
    if _XL.fullmatch(body):
        raise Damaged("a CAN XL frame: not read by this version")
    data = _hex_bytes(body, fd=False)
    return data, len(data), 0


def _hex_bytes(text: bytes, *, fd: bool) -> bytes:
    try:
        data = b"".join(map(unhexlify, text.split(b".")))
    except HexError:
        raise Damaged("its data is not whole bytes in hex") from None
    check_size(len(data), fd)
    return data


def usual_decimals(decimals: list[bytes]) -> frozenset[int] | None:
    """The numbers of decimals a whole stamp has; None where the writer leaves zeros out at the end.

    That a writer keeps them shows in a stamp of the usual width that ends in one.
    """
    if not decimals:
        return None
    width, _ = Counter(map(len, decimals)).most_common(1)[0]
    keeps_zeros = width > 1 and any(len(digits) == width and digits.endswith(b"0") for digits in decimals)
    return frozenset((*_DECIMALS, width)) if keeps_zeros else None


def is_cut_name(name: bytes, names: Counter[bytes]) -> bool:
    """True if a channel name is seen once and is the end of another one: the line lost its beginning."""
    return names[name] <= 1 and any(other != name and other.endswith(name) for other in names)
