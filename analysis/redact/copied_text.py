"""A text capture with other data bytes: each line that is a frame keeps all but its bytes.

Whatever the form, the bytes of a frame stand in its line one behind the other: in hex, close together or apart, in
decimal, or as base64. What stands beside them as text (candump -a) is written again. Lines that are no frame are
searched for values.
"""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Iterator, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np

from analysis.redact.plan import Plan
from analysis.redact.replacements import Replacements
from canlog.errors import CanlogError

_LINE_END: Final = re.compile(rb"[\r\n]")
_BETWEEN: Final = rb"[\s,;.:`\"'-]*(?:0[xX])?"
_BETWEEN_SIGNS: Final = rb"0x|[^0-9a-f]"
#: Between the signs of a VIN where somebody wrote it by hand, and how many of its last signs stand for it.
_GAPS: Final = b" _-"
_IN_GROUPS: Final = rb"[ _-]?"
_ENDS: Final = (8, 7, 6)
_APART: Final = rb"[\s,;|]+(?:0[xX])?"
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


def copied_text(text: bytes, plan: Plan, bad_lines: Sequence[int], replacements: Replacements) -> bytes:
    """The text of the copy.

    Raises:
        CanlogError: the bytes of a frame are not to be found in its line.
    """
    pieces: list[bytes] = []
    done = 0
    values = _spellings(plan)
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
            return line[:at] + put + _beside(line[at + len(put) :], old, new)
    for spelling in (b"%02X", b"%X", b"%d"):
        for order in (1, -1):  # candump -S writes the bytes in reverse
            match = _last(old[::order], spelling, line)
            if match is not None:
                start, end = match.span(1)
                return line[:start] + _respelled(match[1], new[::order], spelling) + _beside(line[end:], old, new)
    raise CanlogError(f"line {number}: its bytes are not written as numbers one behind the other", hint=HINT)


def _usual(old: bytes, new: bytes) -> Iterator[tuple[bytes, bytes]]:
    """The spellings of nearly all lines: hex in capitals, close together or with blanks; and base64."""
    yield old.hex().upper().encode(), new.hex().upper().encode()
    yield old.hex(" ").upper().encode(), new.hex(" ").upper().encode()
    yield b64encode(old), b64encode(new)


def _last(data: bytes, spelling: bytes, line: bytes) -> re.Match[bytes] | None:
    """Where the bytes stand; what is written without leading zeros has something between its numbers."""
    close = spelling == b"%02X"
    between = _BETWEEN if close else _APART
    numbers = (between if close else between + b"0*").join(spelling % byte for byte in data)
    pattern = rb"(?=(" + numbers + rb"))" if close else rb"(?<![0-9A-Fa-f])(?=(0*" + numbers + rb")(?![0-9A-Fa-f]))"
    found = None
    for match in re.finditer(pattern, line, re.IGNORECASE):
        found = match
    return found


def _respelled(written: bytes, new: bytes, spelling: bytes) -> bytes:
    """The same spelling with other numbers."""
    bare = re.sub(rb"0[xX]", b"", written)
    lower = any(97 <= sign <= 102 for sign in bare)
    numbers = iter([spelling % byte for byte in new])
    one = rb"(0[xX])?([0-9A-Fa-f]{2})" if spelling == b"%02X" else rb"(0[xX])?([0-9A-Fa-f]+)"

    def put(match: re.Match[bytes]) -> bytes:
        number = next(numbers).rjust(len(match[2]) if spelling != b"%X" else 1, b"0")
        return (match[1] or b"") + (number.lower() if lower else number)

    return re.sub(one, put, written)


def _beside(rest: bytes, old: bytes, new: bytes) -> bytes:
    """What is behind the bytes: the same bytes as text, where that is what it is."""
    match = _BESIDE.search(rest)
    if match is None or len(match[2]) != len(old):
        return rest
    shown = bytes(sign if 0x20 <= sign < 0x7F else 0x2E for sign in new)
    return rest[: match.start(2)] + shown + rest[match.end(2) :]


class _Spellings(NamedTuple):
    """How replaced values may be written outside of frames."""

    pattern: re.Pattern[bytes]
    written: Mapping[bytes, bytes]  # text or hex -> the new bytes
    by_hand: Mapping[bytes, bytes]  # a VIN or its end, without gaps -> the new text


def _spellings(plan: Plan) -> _Spellings | None:
    values: dict[bytes, bytes] = dict(plan.values)
    values |= {old.encode(): new.encode() for old, new in plan.vins.items()}
    if not values:
        return None
    written: dict[bytes, bytes] = {}
    by_hand: dict[bytes, bytes] = {}
    patterns = [pattern for vin, new in plan.vins.items() for pattern in _as_people_write(vin, new, by_hand)]
    for old, new in sorted(values.items(), key=lambda one: len(one[0]), reverse=True):
        if len(old) >= 6 and old.isascii():
            written[old.lower()] = new
            patterns.append(re.escape(old))
        written[old.hex().encode()] = new
        patterns.append(_BETWEEN.join(b"%02X" % byte for byte in old))
    return _Spellings(re.compile(b"|".join(patterns), re.IGNORECASE), written, by_hand)


def _as_people_write(vin: str, new: str, by_hand: dict[bytes, bytes]) -> Iterator[bytes]:
    """A VIN in groups of signs, and its end, by which people call a vehicle."""
    by_hand[vin.lower().encode()] = new.encode()
    yield rb"(?<![0-9A-Za-z])" + _IN_GROUPS.join(re.escape(vin.encode()[at : at + 1]) for at in range(len(vin)))
    for size in _ENDS:
        by_hand.setdefault(vin[-size:].lower().encode(), new[-size:].encode())
        yield rb"(?<![0-9A-Za-z])(?<!\d[.:])" + re.escape(vin[-size:].encode()) + rb"(?![0-9A-Za-z]|[.:]\d)"


def _other_lines(
    text: bytes, frames: set[int], damaged: set[int],
    values: _Spellings | None, replacements: Replacements,
) -> bytes:  # fmt: skip
    """Comments lose known values; a damaged line loses whatever could be its bytes."""
    end = b"\n" if b"\n" in text else b"\r"
    out = []
    for number, line in enumerate(text.split(end), start=1):
        if number in damaged:
            line = _damaged(line, replacements)
        if number not in frames and values is not None:
            line = values.pattern.sub(lambda match: _cased(match[0], values), line)
        out.append(line)
    return end.join(out)


def _cased(found: bytes, values: _Spellings) -> bytes:
    said = values.by_hand.get(re.sub(_IN_GROUPS, b"", found.lower()))
    if said is not None:
        return _in_the_same_groups(found, said)
    new = values.written.get(found.lower())
    if new is None or len(new) != len(found):  # in hex
        return _respelled(found, values.written[re.sub(_BETWEEN_SIGNS, b"", found.lower())], b"%02X")
    return new.upper() if found == found.upper() else new.lower() if found == found.lower() else new


def _in_the_same_groups(found: bytes, new: bytes) -> bytes:
    signs = iter(new.lower() if found == found.lower() else new)
    return bytes(old if old in _GAPS else next(signs) for old in found)


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
