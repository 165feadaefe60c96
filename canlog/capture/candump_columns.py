"""candump's log form, many lines at once: the lines of the usual exact shape, as columns.

Theory of operation: a block of text is translated once, so that hex digits become their values and all other
characters become codes above 7F. Line ends and ``#`` are found by comparison; from them follows where each part
of each line must stand. Up to eight characters are picked up as one 64-bit word and turned into a number by
three steps that join neighbours: digits to pairs, pairs to fours, fours to one number. Each part has its test; a line
that fails any of them is *loose*: it is left to the reader of single lines
(:mod:`canlog.capture.candump_log`), which alone decides what odd lines mean.

The usual shape is ``(SEC.FRAC) CHANNEL ID#DATA`` with one blank, 6 or 9 decimals, an id of 3 or 8 digits, classic
data or CAN FD data of a size that exists, perhaps `` R`` or `` T``, perhaps CR before LF.

Source: can-utils, lib.c at 95aae6b (form of a line); joining digits in a word: common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from canlog.capture.candump_log import LARGEST_SECONDS
from canlog.capture.identifiers import CLASSIC_BYTES, ERROR_BIT, FD_SIZES, LARGEST_11_BIT, LARGEST_29_BIT
from canlog.frames import FrameFlag, FrameTable, Ints

Words = npt.NDArray[np.uint64]
Bytes = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]

LONGEST_NAME: Final = 15  # of a network interface in Linux (IFNAMSIZ less its end)
MOST_NAMES: Final = 64  # channel names in one block, leading blanks counted; lines with more of them are loose

PIECE_BYTES: Final = 512 * 1024  # what is parsed at once

#: Room around the text, so that a word may be picked up before the first and behind the last line.
_BEFORE: Final = 16
_BEHIND: Final = 160

_OPEN, _CLOSE, _DOT, _BLANK, _HASH, _RECEIVED, _SENT, _LF, _CR, _OTHER = range(0xF0, 0xFA)


def _character_codes() -> bytes:
    codes = bytearray([_OTHER]) * 256
    for value, digit in enumerate(b"0123456789ABCDEF"):
        codes[digit] = codes[bytes([digit]).lower()[0]] = value
    for characters, code in zip(
        (b"(", b")", b".", b" ", b"#", b"Rr", b"Tt", b"\n", b"\r"), range(_OPEN, _OTHER), strict=True
    ):
        for character in characters:
            codes[character] = code
    return bytes(codes)


_CODES: Final = _character_codes()
#: Keeps the first n characters of a word, n from 0 to 8; and the last n.
_FIRST: Final = np.array([(1 << 8 * n) - 1 for n in range(9)], dtype=np.uint64)
_LAST: Final = np.array([(1 << 64) - (1 << 64 - 8 * n) for n in range(9)], dtype=np.uint64)
_HIGH: Final = np.uint64(0xF0F0F0F0F0F0F0F0)  # set in a character that is no hex digit
_SIX: Final = np.uint64(0x0606060606060606)  # lifts A to F, too, into those bits
_FD_HEX: Final = np.isin(np.arange(256), [2 * size for size in FD_SIZES])
_STAMP: Final = re.compile(rb"^\(([0-9]{1,10})\.([0-9]{6}|[0-9]{9})\) ", re.MULTILINE)
_NAME: Final = re.compile(rb' *([!"$-\x27*-~]+)')  # printable, but no parenthesis and no #


class Strict(NamedTuple):
    """The lines of usual shape as frames, and where the others stand.

    ``frames.channel`` counts ``names``, which are in order of first appearance. Before the first of the loose lines
    stand ``loose_row[0]`` frames, and so on; ``loose_line``, ``loose_start`` and ``loose_stop`` are their numbers
    and places in the text.
    """

    frames: FrameTable
    names: tuple[bytes, ...]
    loose_row: Ints
    loose_line: Ints
    loose_start: Ints
    loose_stop: Ints


def parse_columns(text: bytes, first: int, position: int) -> Iterator[Strict]:
    """Lines as columns, with numpy alone, in pieces that fit a processor's cache.

    Args:
        text: whole lines, each ending in LF.
        first: number of the first line.
        position: its byte position in the source.
    """
    begin = 0
    while begin < len(text):
        end = text.find(b"\n", begin + PIECE_BYTES) + 1 or len(text)
        piece = _parse(text[begin:end], begin, first, position)
        first += len(piece.frames) + len(piece.loose_line)
        begin = end
        yield piece


def _parse(text: bytes, begin: int, first: int, position: int) -> Strict:
    """One piece, which begins at ``begin`` in the whole text."""
    lines = _Lines(text)
    time_ns, stamp_size, fits = _stamps(lines, text)
    can_id, flags, id_at, has_id = _identifiers(lines)
    fits &= has_id
    data = _data(lines, flags, fits)
    fits &= data.fits
    channel, names = _channels(lines, lines.start + stamp_size, id_at - 1, fits)
    fits &= channel >= 0
    line = np.arange(first, first + len(fits), dtype=np.int64)
    frames = FrameTable(
        time_ns, channel, can_id, data.flags, data.length, data.offset, data.payload, line,
        lines.start + (position + begin - _BEFORE), (),
    )  # fmt: skip
    loose = np.flatnonzero(~fits)
    start, stop = (each[loose] + (begin - _BEFORE) for each in (lines.start, lines.end))
    frames = frames.take(fits) if len(loose) else frames
    return Strict(frames, names, loose - np.arange(len(loose)), line[loose], start, stop)


class _Lines:
    """A text with room around it, the code of each character, and where its lines begin and end."""

    def __init__(self, text: bytes) -> None:
        self.text = bytes(_BEFORE) + text + bytes(_BEHIND)
        coded = self.text.translate(_CODES)
        self.code: Bytes = np.frombuffer(coded, dtype=np.uint8)
        self._words = _words_of(coded)
        self.end: Ints = np.flatnonzero(self.code == _LF)
        self.start = np.empty_like(self.end)
        self.start[:1], self.start[1:] = _BEFORE, self.end[:-1] + 1
        self.stop = self.end - (self.code[self.end - 1] == _CR)
        self.hash = self._hashes()

    def _hashes(self) -> Ints:
        """Where the first ``#`` of each line is; the line's end where there is none."""
        hashes: Ints = np.flatnonzero(self.code == _HASH)
        if len(hashes) == len(self.end) and bool(np.all((hashes > self.start) & (hashes < self.end))):
            return hashes
        hashes = np.append(hashes, len(self.code))
        return np.minimum(hashes[np.searchsorted(hashes, self.start)], self.end)

    def words(self, at: Ints) -> Words:
        """The codes of eight characters from ``at`` on, the first in the lowest byte."""
        return self._words[at]


def _words_of(text: bytes) -> Words:
    """A word at every byte of a text."""
    return np.ndarray((len(text) - 7,), dtype="<u8", buffer=text, strides=(1,))


def _number(word: Words, base: int) -> Words:
    """The number that eight digits mean, the first counting most."""
    eight, sixteen, thirty_two = np.uint64(8), np.uint64(16), np.uint64(32)
    word = word * np.uint64(base) + (word >> eight) & np.uint64(0x00FF00FF00FF00FF)
    word = word * np.uint64(base**2) + (word >> sixteen) & np.uint64(0x0000FFFF0000FFFF)
    return word * np.uint64(base**4) + (word >> thirty_two) & np.uint64(0xFFFFFFFF)


def _are_decimal(word: Words) -> Mask:
    good: Mask = (word | word + _SIX) & _HIGH == 0
    return good


def _stamps(lines: _Lines, text: bytes) -> tuple[Ints, int, Mask]:
    """Time in ns, how many characters it takes with the blank behind it, and which lines have one of that size."""
    usual = _STAMP.search(text)
    if usual is None:
        return np.zeros(len(lines.start), dtype=np.int64), 0, np.zeros(len(lines.start), dtype=np.bool_)
    whole, decimals = len(usual[1]), len(usual[2])
    dot = lines.start + (1 + whole)
    close = dot + (1 + decimals)
    fits = lines.code[lines.start] == _OPEN
    for at, code in ((dot, _DOT), (close, _CLOSE), (close + 1, _BLANK)):
        fits &= lines.code[at] == code
    digits = [(dot - 8, _LAST[min(whole, 8)]), (dot - 16, _LAST[max(whole - 8, 0)])]
    seconds, more_seconds = (lines.words(at) & kept for at, kept in digits)
    fraction = lines.words(dot + 1)
    fits &= _are_decimal(seconds)
    time_ns = _number(seconds, 10)
    if whole > 8:
        fits &= _are_decimal(more_seconds)
        time_ns += _number(more_seconds, 10) * np.uint64(10**8)
        fits &= time_ns <= np.uint64(LARGEST_SECONDS)
    time_ns *= np.uint64(10**9)
    if decimals == 6:
        fraction <<= np.uint64(16)  # two zeros in front
        fits &= _are_decimal(fraction)
        time_ns += _number(fraction, 10) * np.uint64(1000)
    else:
        last = lines.code[dot + 9]
        fits &= _are_decimal(fraction) & (last < 10)
        time_ns += _number(fraction, 10) * np.uint64(10) + last
    return time_ns.view(np.int64), usual.end() - usual.start(), fits


def _identifiers(lines: _Lines) -> tuple[npt.NDArray[np.uint32], npt.NDArray[np.uint16], Ints, Mask]:
    """Id, flags, where the id begins, and whether it is one; see :class:`canlog.capture.identifiers.Identifiers`."""
    is_short = lines.code[lines.hash - 4] == _BLANK
    is_long = lines.code[lines.hash - 9] == _BLANK
    word = lines.words(lines.hash - 8)
    word &= np.where(is_short, _LAST[3], _LAST[8])
    value = _number(word, 16)
    is_error = ~is_short & (value > LARGEST_29_BIT)
    largest = np.where(is_short, np.uint64(LARGEST_11_BIT), np.uint64(2 * ERROR_BIT - 1))
    fits = (is_short | is_long) & (word & _HIGH == 0) & (value <= largest)
    flags = np.where(is_short, 0, np.where(is_error, int(FrameFlag.ERROR), int(FrameFlag.EXTENDED))).astype(np.uint16)
    value -= np.where(is_error, np.uint64(ERROR_BIT), np.uint64(0))
    return value.astype(np.uint32), flags, lines.hash - np.where(is_short, 3, 8), fits


class _Data(NamedTuple):
    flags: npt.NDArray[np.uint16]
    length: npt.NDArray[np.uint16]
    offset: Ints
    payload: Bytes
    fits: Mask


def _data(lines: _Lines, flags: npt.NDArray[np.uint16], fits: Mask) -> _Data:
    """Direction and data; classic data takes 8 bytes of payload whatever its length, CAN FD data stands behind."""
    stop = lines.stop
    mark = lines.code[stop - 1]
    has_mark = ((mark == _RECEIVED) | (mark == _SENT)) & (lines.code[stop - 2] == _BLANK)
    if has_mark.any():
        direction = np.where(mark == _SENT, int(FrameFlag.SENT), int(FrameFlag.RECEIVED))
        flags = flags | np.where(has_mark, direction, 0).astype(np.uint16)
        stop = stop - 2 * has_mark
    begin = lines.hash + 1
    is_fd = (lines.code[begin] == _HASH) & fits
    digits = stop - begin
    good = (digits >= 0) & (digits <= 2 * CLASSIC_BYTES) & (digits & 1 == 0)
    digits = np.clip(digits, 0, 2 * CLASSIC_BYTES)
    low, good_low = _bytes_of(lines.words(begin) & _FIRST[np.minimum(digits, 8)])
    high, good_high = _bytes_of(lines.words(begin + 8) & _FIRST[np.maximum(digits - 8, 0)])
    good &= good_low & good_high
    length = (digits >> 1).astype(np.uint16)
    offset = np.arange(0, 8 * len(digits), 8, dtype=np.int64)
    payload = (low | high << np.uint64(32)).astype("<u8", copy=False).view(np.uint8)
    data = _Data(flags, length, offset, payload, good)
    rows = np.flatnonzero(is_fd)
    return _with_fd(lines, data, rows, stop[rows]) if len(rows) else data


def _bytes_of(word: Words) -> tuple[Words, Mask]:
    """The four bytes that eight hex digits are, in their order; and whether they are digits."""
    good = word & _HIGH == 0
    word = (word << np.uint64(4) | word >> np.uint64(8)) & np.uint64(0x00FF00FF00FF00FF)
    word = (word | word >> np.uint64(8)) & np.uint64(0x0000FFFF0000FFFF)
    return (word | word >> np.uint64(16)) & np.uint64(0xFFFFFFFF), good


def _with_fd(lines: _Lines, data: _Data, rows: Ints, stop: Ints) -> _Data:
    """The same with the CAN FD frames of ``rows``: ``##``, a digit of flags (1 BRS, 2 ESI), then up to 64 bytes."""
    flags, length, offset, good = data.flags.copy(), data.length, data.offset, data.fits
    digit = lines.code[lines.hash[rows] + 2]
    begin = lines.hash[rows] + 3
    digits = np.clip(stop - begin, -1, 129)
    fits = (digit < 16) & _FD_HEX[digits] & (flags[rows] & FrameFlag.ERROR == 0)
    digits = np.clip(digits, 0, 128)
    payload = np.zeros((len(rows), 64), dtype=np.uint8)
    for part in range(-(-int(digits.max()) // 8)):
        kept = _FIRST[np.clip(digits - 8 * part, 0, 8)]
        four, are_digits = _bytes_of(lines.words(begin + 8 * part) & kept)
        fits &= are_digits
        payload[:, 4 * part : 4 * part + 4] = four.astype("<u4").view(np.uint8).reshape(-1, 4)
    flags[rows] |= int(FrameFlag.FD)
    flags[rows] |= np.where(digit & 1, int(FrameFlag.BRS), 0).astype(np.uint16)
    flags[rows] |= np.where(digit & 2, int(FrameFlag.ESI), 0).astype(np.uint16)
    length[rows], good[rows] = digits >> 1, fits
    offset[rows] = len(data.payload) + np.arange(0, 64 * len(rows), 64)
    return _Data(flags, length, offset, np.concatenate((data.payload, payload.ravel())), good)


def _channels(lines: _Lines, start: Ints, stop: Ints, fits: Mask) -> tuple[npt.NDArray[np.int16], tuple[bytes, ...]]:
    """Each line's place in the names, -1 for none; the names in order of first appearance.

    A pattern is a name with the blanks in front of it, by which candump aligns short names.
    """
    size = stop - start
    channel = np.full(len(size), -1, dtype=np.int16)
    left = fits & (size > 0) & (size <= LONGEST_NAME)
    size = np.where(left, size, 0)
    text = _words_of(lines.text)
    at = np.where(left, start, 0)
    low, high = text[at] & _FIRST[np.minimum(size, 8)], text[at + 8] & _FIRST[np.maximum(size - 8, 0)]
    names: list[bytes] = []
    for _ in range(MOST_NAMES):
        row = int(np.argmax(left))
        if not left[row]:
            break
        same = left & (low == low[row]) & (high == high[row]) & (size == size[row])
        left &= ~same
        match = _NAME.fullmatch(lines.text, int(start[row]), int(stop[row]))
        if match is not None:
            if match[1] not in names:
                names.append(match[1])
            channel[same] = names.index(match[1])
    return channel, tuple(names)
