"""Hex or decimal? Told from many numbers at once, or not at all.

One number is no evidence (``10`` is both); a capture has hundreds. Letters, a prefix, leading zeros and
values that no id or byte can have decide it.

Source: common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from typing import Final

from canlog.capture.identifiers import LARGEST_11_BIT, LARGEST_29_BIT

NOTE_DECIMAL_IDS: Final = "its ids were taken as decimal numbers"
NOTE_DECIMAL_BYTES: Final = "its bytes were taken as decimal numbers"

_HEX_SIGN: Final = re.compile(rb"0[xX].+|.*[A-Fa-f].*|.+[hHxX]")
_DIGITS: Final = re.compile(rb"\d+")
#: So many bytes without one letter are decimal: in hex six of sixteen digits are letters.
_ENOUGH_BYTES: Final = 64


def base_of_ids(texts: Collection[bytes]) -> int:
    """16 or 10; hex unless the numbers speak against it."""
    if any(_HEX_SIGN.fullmatch(text) for text in texts) or not all(_DIGITS.fullmatch(text) for text in texts):
        return 16
    as_hex = [int(text[:20], 16) for text in texts]
    if max(as_hex, default=0) > LARGEST_29_BIT:
        return 10
    if any(text.startswith(b"0") and len(text) > 1 for text in texts):
        return 16
    as_decimal = [int(text[:20]) for text in texts]
    return 10 if max(as_hex, default=0) > LARGEST_11_BIT >= max(as_decimal, default=0) else 16


def base_of_bytes(texts: Collection[bytes]) -> int | None:
    """16 or 10, None where it cannot be told."""
    if any(_HEX_SIGN.fullmatch(text) for text in texts):
        return 16
    if any(len(text) > 2 for text in texts):
        return 10
    if all(len(text) == 2 for text in texts):
        return 16  # padded to two digits, as hex is and decimals are not
    return 10 if len(texts) >= _ENOUGH_BYTES else None


def without_hex_signs(text: bytes) -> bytes:
    """The digits of a hex number written with ``0x`` in front or ``h`` or ``x`` behind."""
    if text[:2] in (b"0x", b"0X") and len(text) > 2:
        return text[2:]
    return text[:-1] if text[-1:] in (b"h", b"H", b"x", b"X") else text


def number(text: bytes, base: int) -> int:
    """The number that plain digits mean.

    Raises:
        ValueError: anything but digits (``int`` takes signs, spaces and underscores too).
    """
    if not text.isalnum():
        raise ValueError(text)
    return int(text, base)
