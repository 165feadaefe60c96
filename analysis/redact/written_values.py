"""Replaced values where people and programs wrote them outside of frames: comments, names of files, sheets."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Final

#: Between numbers that stand one behind the other.
BETWEEN: Final = rb"[\s,;.:`\"'-]*(?:0[xX])?"
_BETWEEN_SIGNS: Final = rb"0x|[^0-9a-f]"
#: Between the signs of a VIN where somebody wrote it by hand, and how many of its last signs stand for it.
_GAPS: Final = b" _-"
_IN_GROUPS: Final = rb"[ _-]?"
_ENDS: Final = (8, 7, 6)
_LEAST_TEXT: Final = 6  # signs; shorter ones are words by chance
_NO_NUMBER: Final = re.compile(rb"[^0-9A-Fa-f]")
#: Text in a binary file.
_TEXT: Final = re.compile(rb"[\t\n\r\x20-\x7e]{6,}")
_TEXT_16: Final = re.compile(rb"(?:[\t\n\r\x20-\x7e]\x00){6,}")


class WrittenValues:
    """Values and what stands in their place.

    Args:
        vins: VINs; written in capitals or not, in groups of signs, or their end alone.
        values: what was replaced in frames: written as text, or as numbers in hex.
    """

    def __init__(self, vins: Mapping[str, str], values: Mapping[bytes, bytes]) -> None:
        whole = dict(values) | {old.encode(): new.encode() for old, new in vins.items()}
        self._texts = {old: new for old, new in _longest_first(whole) if len(old) >= _LEAST_TEXT and old.isascii()}
        self._written: dict[bytes, bytes] = {}
        self._by_hand: dict[bytes, bytes] = {}
        told = [pattern for vin, new in vins.items() for pattern in self._as_people_write(vin, new)]
        texts = []
        for old, new in _longest_first(whole):
            if old in self._texts:
                self._written[old.lower()] = new
                texts.append(re.escape(old))
        numbers = []
        for old, new in _longest_first(whole):
            self._written[old.hex().encode()] = new
            numbers.append(BETWEEN.join(b"%02X" % byte for byte in old))
        self._everywhere = _any_of([*told, *texts, *numbers])
        vin_texts = [re.escape(old) for old in self._texts if _NO_NUMBER.search(old)]
        self._no_bytes = _any_of([*(one for one in told if one.startswith(b"(?i:")), *vin_texts])

    def replaced(self, text: bytes) -> bytes:
        """The text with every value replaced, in the spelling it has there; of the same length."""
        return self._everywhere.sub(lambda match: self._cased(match[0]), text) if self._everywhere else text

    def beside_bytes(self, text: bytes) -> bytes:
        """The same but for what could be bytes of a frame."""
        return self._no_bytes.sub(lambda match: self._cased(match[0]), text) if self._no_bytes else text

    def stands_beside_bytes(self, text: bytes) -> bool:
        """Something would be replaced by :meth:`beside_bytes`."""
        return self._no_bytes is not None and self._no_bytes.search(text) is not None

    def in_binary(self, raw: bytes) -> bytes:
        """Bytes with the text in them replaced, also where it is UTF-16."""
        raw = _TEXT.sub(lambda match: self.replaced(match[0]), raw)
        return _TEXT_16.sub(lambda match: b"\0".join(_signs(self.replaced(match[0][::2]))) + b"\0", raw)

    def name(self, name: str) -> str:
        """The name of a file."""
        return self.replaced(name.encode("utf-8", "surrogateescape")).decode("utf-8", "surrogateescape")

    def _as_people_write(self, vin: str, new: str) -> Iterator[bytes]:
        """A VIN in groups of signs, and its end, by which people call a vehicle."""
        self._by_hand[vin.lower().encode()] = new.encode()
        yield rb"(?i:" + _IN_GROUPS.join(re.escape(vin.encode()[at : at + 1]) for at in range(len(vin))) + rb")"
        for size in _ENDS:
            self._by_hand.setdefault(vin[-size:].lower().encode(), new[-size:].encode())
            yield rb"(?<![0-9A-Za-z])(?<!\d[.:])" + re.escape(vin[-size:].encode()) + rb"(?![0-9A-Za-z]|[.:]\d)"

    def _cased(self, found: bytes) -> bytes:
        said = self._by_hand.get(re.sub(_IN_GROUPS, b"", found.lower()))
        if said is not None:
            return _in_the_same_groups(found, said)
        new = self._written.get(found.lower())
        if new is None or len(new) != len(found):  # in hex
            return respelled(found, self._written[re.sub(_BETWEEN_SIGNS, b"", found.lower())], b"%02X")
        return new.upper() if found == found.upper() else new.lower() if found == found.lower() else new


def _longest_first(values: Mapping[bytes, bytes]) -> list[tuple[bytes, bytes]]:
    return sorted(values.items(), key=lambda one: len(one[0]), reverse=True)


def _any_of(patterns: list[bytes]) -> re.Pattern[bytes] | None:
    return re.compile(b"|".join(patterns), re.IGNORECASE) if patterns else None


def respelled(written: bytes, new: bytes, spelling: bytes) -> bytes:
    """The same spelling with other numbers."""
    bare = re.sub(rb"0[xX]", b"", written)
    lower = any(97 <= sign <= 102 for sign in bare)
    numbers = iter([spelling % byte for byte in new])
    one = rb"(0[xX])?([0-9A-Fa-f]{2})" if spelling == b"%02X" else rb"(0[xX])?([0-9A-Fa-f]+)"

    def put(match: re.Match[bytes]) -> bytes:
        number = next(numbers).rjust(len(match[2]) if spelling != b"%X" else 1, b"0")
        return (match[1] or b"") + (number.lower() if lower else number)

    return re.sub(one, put, written)


def _signs(text: bytes) -> list[bytes]:
    return [text[at : at + 1] for at in range(len(text))]


def _in_the_same_groups(found: bytes, new: bytes) -> bytes:
    signs = iter(new.lower() if found == found.lower() else new)
    return bytes(old if old in _GAPS else next(signs) for old in found)
