"""A text capture with other data bytes: each line that is a frame keeps all but its bytes.

Whatever the form, the bytes of a frame stand in its line one behind the other: in hex, close together or apart, in
decimal, or as base64. What stands beside them as text (candump -a) is written again. Lines that are no frame are
searched for values.
"""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from analysis.redact.plan import Plan
from analysis.redact.replacements import Replacements
from analysis.redact.written_values import BETWEEN, WrittenValues, respelled
from canlog.errors import CanlogError

_LINE_END: Final = re.compile(rb"[\r\n]")
_APART: Final = rb"[\s,;|]+(?:0[xX])?"
#: Signs that are a text of the bytes, and not there by chance; what is shown for a byte that is no sign.
_LEAST_SIGNS: Final = 3
_NO_SIGN: Final = b". _?"
#: What may stand on either side of such a text: nothing, or what parts fields.
_AROUND: Final = frozenset({b"", *(bytes([one]) for one in b" \t\n\r\f\v,;|'\"")})
_BESIDE: Final = re.compile(rb"(\s['\"|])(.*)(['\"|]\s*)")
#: What may be data in a line that is no frame: pairs, a run behind ``#`` or behind the head of a serial line, base64.
_PIECES: Final = tuple(
    re.compile(pattern)
    for pattern in (
        rb"(?<![\w.:/\[-])(?:0[xX])?[0-9A-Fa-f]{2}(?![\w.:/-])",
        rb"(?<=#)[0-9A-Fa-f#.]+",
        rb"(?<=^[trdb][0-9A-Fa-f]{4})[0-9A-Fa-f]+|(?<=^[TRDB][0-9A-Fa-f]{9})[0-9A-Fa-f]+",
        rb"(?<=,)[0-9A-Za-z+/]{7,}={0,2}\s*$",
    )
)
HINT: Final = "write it as candump's log form first (python-can: python -m can.logconvert FILE copy.log)"


def copied_text(
    text: bytes, plan: Plan, bad_lines: Sequence[int], values: WrittenValues, replacements: Replacements
) -> bytes:  # fmt: skip
    """The text of the copy.

    Raises:
        CanlogError: the bytes of a frame are not to be found in its line.
    """
    pieces: list[bytes] = []
    done = 0
    frames = {int(line) for line in plan.table.line}
    damaged = set(bad_lines)
    positions = np.unique(plan.table.position)
    for row in plan.changed_rows():
        at = int(plan.table.position[row])
        following = int(np.searchsorted(positions, at, side="right"))
        end = min(_line_end(text, at), int(positions[following]) if following < len(positions) else len(text))
        pieces.append(text[done:at])
        pieces.append(_line(text[at:end], plan.table.data(row), plan.data(row), int(plan.table.line[row])))
        done = end
    pieces.append(text[done:])
    return _other_lines(b"".join(pieces), frames, damaged, values, replacements)


def _line_end(text: bytes, at: int) -> int:
    match = _LINE_END.search(text, at)
    return match.start() if match else len(text)


def _line(line: bytes, old: bytes, new: bytes, number: int) -> bytes:
    for written, put in _usual(old, new):
        at = line.rfind(written)
        if at >= 0:
            return _beside(line[:at], old, new) + put + _beside(line[at + len(put) :], old, new)
    for spelling in (b"%02X", b"%X", b"%d"):
        for order in (1, -1):  # candump -S writes the bytes in reverse
            match = _last(old[::order], spelling, line)
            if match is not None:
                start, end = match.span(1)
                put = respelled(match[1], new[::order], spelling)
                return _beside(line[:start], old, new) + put + _beside(line[end:], old, new)
    raise CanlogError(f"line {number}: its bytes are not written as numbers one behind the other", hint=HINT)


def _usual(old: bytes, new: bytes) -> Iterator[tuple[bytes, bytes]]:
    """The spellings of nearly all lines: hex in capitals, close together or with blanks; and base64."""
    yield old.hex().upper().encode(), new.hex().upper().encode()
    yield old.hex(" ").upper().encode(), new.hex(" ").upper().encode()
    yield b64encode(old), b64encode(new)


def _last(data: bytes, spelling: bytes, line: bytes) -> re.Match[bytes] | None:
    """Where the bytes stand; what is written without leading zeros has something between its numbers."""
    close = spelling == b"%02X"
    between = BETWEEN if close else _APART
    numbers = (between if close else between + b"0*").join(spelling % byte for byte in data)
    pattern = rb"(?=(" + numbers + rb"))" if close else rb"(?<![0-9A-Fa-f])(?=(0*" + numbers + rb")(?![0-9A-Fa-f]))"
    found = None
    for match in re.finditer(pattern, line, re.IGNORECASE):
        found = match
    return found


def _beside(rest: bytes, old: bytes, new: bytes) -> bytes:
    """What is beside the bytes: the same bytes as text, where that is what it is; other signs stand for some."""
    match = _BESIDE.search(rest)
    if match is not None and len(match[2]) == len(old):
        shown = bytes(sign if 0x20 <= sign < 0x7F else 0x2E for sign in new)
        return rest[: match.start(2)] + shown + rest[match.end(2) :]
    if sum(map(_is_sign, old)) < _LEAST_SIGNS:
        return rest
    size, done, pieces = len(old), 0, []
    for at in range(len(rest) - size + 1):
        if at < done or rest[at - 1 : at] not in _AROUND or rest[at + size : at + size + 1] not in _AROUND:
            continue
        if (anew := _shown_anew(rest[at : at + size], old, new)) is not None:
            pieces += [rest[done:at], anew]
            done = at + size
    return b"".join((*pieces, rest[done:]))


def _shown_anew(shown: bytes, old: bytes, new: bytes) -> bytes | None:
    """The new bytes as text where the old ones were; None where this is no text of the old ones."""
    same = [sign == was and _is_sign(was) for sign, was in zip(shown, old, strict=True)]
    if sum(same) < _LEAST_SIGNS or not all(
        is_told or sign in _NO_SIGN for is_told, sign in zip(same, shown, strict=True)
    ):
        return None
    told = zip(same, shown, new, strict=True)
    return bytes((put if _is_sign(put) else 0x2E) if is_told else sign for is_told, sign, put in told)


def _is_sign(byte: int) -> bool:
    return 0x20 < byte < 0x7F


def _other_lines(
    text: bytes, frames: set[int], damaged: set[int],
    values: WrittenValues, replacements: Replacements,
) -> bytes:  # fmt: skip
    """Comments, and words beside a frame, lose known values; a damaged line loses whatever could be its bytes."""
    has_more = values.stands_beside_bytes(text)
    end = b"\n" if b"\n" in text else b"\r"
    out = []
    for number, line in enumerate(text.split(end), start=1):
        if number in damaged:
            line = _damaged(line, replacements)
        if number not in frames:
            line = values.replaced(line)
        elif has_more:
            line = values.beside_bytes(line)
        out.append(line)
    return end.join(out)


def _damaged(line: bytes, replacements: Replacements) -> bytes:
    """Hex digits of what could be data: digits to digits and letters to letters, so that it stays damaged as it was."""

    def other(match: re.Match[bytes]) -> bytes:
        drawn = replacements.octets(match[0] + b"\x80")  # no text: drawn from all bytes
        return bytes(_same_kind(old, new) for old, new in zip(match[0], drawn, strict=False))

    for pieces in _PIECES:
        line = pieces.sub(other, line)
    return line


def _same_kind(old: int, drawn: int) -> int:
    for first, last in ((0x30, 0x39), (0x41, 0x46), (0x47, 0x5A), (0x61, 0x66), (0x67, 0x77), (0x79, 0x7A)):
        if first <= old <= last:
            return first + drawn % (last - first + 1)
    return old  # x of 0x, and all other signs
