"""Numbers and spans of time as people say them. Knows nothing else, so that everything may use it."""

from __future__ import annotations

SECOND_NS = 1_000_000_000
#: So many differing bytes are named one by one.
MOST_PLACES = 8


def counted(number: int, one: str, many: str = "") -> str:
    """``1 frame``, ``1,200 frames``; ``many`` where an s does not do."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def lasting(span_ns: int) -> str:
    """A span of time as people say it: ``70.831 s``, ``4 min 12 s``, ``9 h 10 min``, ``3 d 2 h``.

    By integer arithmetic; below two minutes with three digits behind the point.
    """
    sign = "-" if span_ns < 0 else ""
    whole, rest_ns = divmod(abs(span_ns), SECOND_NS)
    if whole < 120:
        return f"{sign}{whole}.{rest_ns // 1_000_000:03d} s"
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{sign}{minutes} min {rest} s"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{sign}{hours} h {minutes} min"
    days, hours = divmod(hours, 24)
    return f"{sign}{days} d {hours} h"


def said_places(one: bytes, other: bytes) -> str:
    """``1, 3 and 2 more``: which bytes of two values differ, counted from 1."""
    places = [at for at in range(max(len(one), len(other))) if one[at : at + 1] != other[at : at + 1]]
    said = ", ".join(str(at + 1) for at in places[:MOST_PLACES])
    return said + (f" and {len(places) - MOST_PLACES} more" if len(places) > MOST_PLACES else "")
