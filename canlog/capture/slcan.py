r"""Serial-line CAN text: ``t7E83025003``, one frame a line that ends with CR.

Theory of operation: the first letter says the kind, then 3 or 8 hex digits of id, one of length, the data,
and perhaps 4 hex digits of time. A line is a frame only if its length fits exactly; whether lines have a
time is the same for all of them and seen in the head. What else such an adapter is told or answers
(settings, acknowledgements, BEL for a refusal) is no frame.

Times are milliseconds modulo 60,000: they are added up, and a pause of a minute or more cannot be seen.

Source: the open reader of python-can 4.6.1 (can/interfaces/slcan.py); the manuals of such adapters for the
time stamp, its modulus (M).
"""

from __future__ import annotations

import re
from binascii import unhexlify
from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

from canlog.capture.identifiers import CLASSIC_BYTES, FD_SIZES, LARGEST_11_BIT, LARGEST_29_BIT
from canlog.capture.lines import Damaged, LineReader, head_lines, peek
from canlog.frames import FrameFlag, FrameTable, TimeKind

NAME: Final = "slcan"
ABOUT: Final = "serial-line CAN text: t7E88025003AAAAAAAAAA, with or without 4 digits of time"
EXPECTED: Final = "no line like `t7E83025003`"
EVIDENCE: Final = "lines of t, T, r, R, d, D, b or B, an id, a length and exactly as many bytes, ended by CR"
CANNOT_TELL: Final = "direction, channel, error frames, absolute time, pauses of a minute or more"
SUFFIXES: Final = (".slcan",)

_FRAME: Final = re.compile(rb"([tTrRdDbB])([0-9A-Fa-f]+)")
#: Settings (S, s, O, L, l, C, M, m, W, X, Z, U, …), answers (z, Z, V, N, F and digits) and nothing at all.
_OTHER: Final = re.compile(rb"z|Z|[SsOLlCMmWXYZUPAFVNQE][0-9A-Fa-f]{0,8}|[vV][0-9A-Za-z.]{0,16}|")
_OTHERS: Final = "lines of settings, acknowledgements or refusals that are no frames"
_DLC_SIZES: Final[list[int]] = sorted(FD_SIZES)
_TIME_DIGITS: Final = 4
_MINUTE_MS: Final = 60_000
#: A step that would be this close to a whole minute is a small step back.
_BACK_MS: Final = 1000
_CHANNEL: Final = "bus"

NOTE_MODULO: Final = "its times are milliseconds modulo a minute: they were added up, a longer pause cannot be seen"


class _Parts(NamedTuple):
    can_id: int
    flags: int
    length: int
    data: bytes
    time_ms: int | None


def recognise(head: bytes) -> float:
    """The share of lines that are frames or belong to the form; 0 without a frame."""
    lines = [text for line in head_lines(head) if (text := _clean(line))]
    frames = sum(_parts(text) is not None for text in lines)
    others = sum(_OTHER.fullmatch(text) is not None for text in lines)
    return (frames + others) / len(lines) if frames else 0.0


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of a serial-line log, chunk by chunk."""
    head, blocks = peek(blocks, recognise)
    return _Slcan(head).tables(blocks)


def _clean(line: bytes) -> bytes:
    return line.replace(b"\a", b"").strip()


def _parts(text: bytes) -> _Parts | None:
    """A line taken apart; None if it is no frame, or its length does not fit."""
    match = _FRAME.fullmatch(text)
    if match is None:
        return None
    kind, digits = match[1], match[2]
    extended = kind in b"TRDB"
    id_digits = 8 if extended else 3
    if len(digits) <= id_digits:
        return None
    can_id, code = int(digits[:id_digits], 16), int(digits[id_digits : id_digits + 1], 16)
    fd, remote = kind in b"dDbB", kind in b"rR"
    if can_id > (LARGEST_29_BIT if extended else LARGEST_11_BIT) or (code > CLASSIC_BYTES and not fd):
        return None
    length = _DLC_SIZES[code]
    rest = digits[id_digits + 1 :]
    data_digits = 0 if remote else 2 * length
    if len(rest) not in (data_digits, data_digits + _TIME_DIGITS):
        return None
    time_ms = int(rest[data_digits:], 16) if len(rest) > data_digits else None
    if time_ms is not None and time_ms >= _MINUTE_MS:
        return None
    flags = (
        (FrameFlag.EXTENDED if extended else 0)
        | (FrameFlag.FD if fd else 0)
        | (FrameFlag.BRS if kind in b"bB" else 0)
        | (FrameFlag.REMOTE if remote else 0)
    )
    return _Parts(can_id, int(flags), length, unhexlify(rest[:data_digits]), time_ms)


class _Slcan(LineReader):
    def __init__(self, head: bytes) -> None:
        super().__init__()
        frames = [parts for line in head_lines(head) if (parts := _parts(_clean(line)))]
        self._timed = 2 * sum(parts.time_ms is not None for parts in frames) > len(frames)
        self._last_ms: int | None = None
        self._sum_ms = 0
        self.rows.time_kind = TimeKind.RELATIVE if self._timed else TimeKind.NONE
        if self._timed:
            self.note(NOTE_MODULO)

    def read_line(self, line: bytes, number: int, position: int) -> None:
        text = _clean(line)
        if text.startswith(b"#") or (not text and not line.strip()):
            return
        parts = _parts(text)
        if parts is None:
            if _OTHER.fullmatch(text) is None:
                raise Damaged("neither a frame whose length fits nor a setting or an answer")
            self.count_other(_OTHERS)
            return
        if (parts.time_ms is not None) != self._timed:
            raise Damaged("no time, though the others have one" if self._timed else "a time, or digits too many")
        time_ns = self._time_ns(parts.time_ms) if parts.time_ms is not None else 0
        self.add(time_ns, _CHANNEL, parts.can_id, parts.flags, parts.data, parts.length, number, position, line)

    def _time_ns(self, time_ms: int) -> int:
        if self._last_ms is None:
            self._sum_ms = time_ms
        else:
            step = (time_ms - self._last_ms) % _MINUTE_MS
            self._sum_ms += step - _MINUTE_MS if step >= _MINUTE_MS - _BACK_MS else step
        self._last_ms = time_ms
        return self._sum_ms * 1_000_000
