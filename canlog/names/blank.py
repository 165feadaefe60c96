"""Records that hold nothing: one of FF throughout holds no values, whatever a layout makes of it.

Erased flash reads FF (common practice, no source). Fewer bytes than :data:`LEAST` can be a true value, such as -1.
"""

from __future__ import annotations

from typing import Final

LEAST: Final = 4
BLANK: Final = "blank"
#: What memory, zeroed records and fixed text fields are filled with (common practice, no source).
FILLS: Final = b"\xff\x00 "


def is_blank(data: bytes) -> bool:
    """True for a record of FF throughout, of at least :data:`LEAST` bytes."""
    return len(data) >= LEAST and not data.strip(b"\xff")


def is_fill(data: bytes) -> bool:
    """True for a record of one fill byte throughout: it may hold a true zero, but it tells nobody anything."""
    return len(data) >= LEAST and any(not data.strip(bytes([fill])) for fill in FILLS)


def is_wiped(before: bytes, after: bytes) -> bool:
    """True where a record that told something was replaced by one of a fill byte throughout."""
    return is_fill(after) and len(before) >= LEAST and len(set(before)) > 1
