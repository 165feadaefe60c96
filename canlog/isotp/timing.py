"""How quickly the two ends of a link answered each other, as seen in the capture.

A listener sees when frames were stamped, not when they were asked for: values are good to a frame time
and the jitter of the stamps, about a millisecond where software took them.
"""

from __future__ import annotations

from collections.abc import Iterable
from statistics import median_low

from canlog.isotp.addressing import Direction
from canlog.isotp.messages import Message


def link_timing(messages: Iterable[Message]) -> dict[str, int]:
    """The times of one link, integers; what could not be seen has no entry.

    Args:
        messages: those of one link, in order of completion.

    Returns:
        ``answers`` how many answers were timed; ``p2_min_ns``, ``p2_median_ns``, ``p2_max_ns`` from the end of
        a request to the begin of its first answer; ``longest_gap_ns`` between two frames of one message;
        ``separation_asked_ns`` the longest gap a receiver asked for (STmin).

    Source: P2, ISO 14229-2:2013, 7.2 (M); STmin, ISO 15765-2:2016, 9.6.5.4 (M).
    """
    waits: list[int] = []
    gaps: list[int] = []
    asked: list[int] = []
    request_end: int | None = None
    for message in messages:
        if message.n_frames > 1:
            gaps.append(message.longest_gap_ns)
        if message.separation_ns is not None:
            asked.append(message.separation_ns)
        if message.direction is Direction.REQUEST:
            request_end = message.end_ns
        elif request_end is not None:
            # A negative wait is a clock that ran backwards, no answer comes before its request.
            if message.begin_ns >= request_end:
                waits.append(message.begin_ns - request_end)
            request_end = None
    timing: dict[str, int] = {}
    if waits:
        timing |= {
            "answers": len(waits),
            "p2_min_ns": min(waits),
            "p2_median_ns": median_low(waits),
            "p2_max_ns": max(waits),
        }
    if gaps:
        timing["longest_gap_ns"] = max(gaps)
    if asked:
        timing["separation_asked_ns"] = max(asked)
    return timing
