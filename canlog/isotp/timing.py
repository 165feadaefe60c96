"""The transport's own times on a link, as seen in the capture.

A listener sees when frames were stamped, not when they were asked for: values are good to a frame time
and the jitter of the stamps, about a millisecond where software took them. N_As and N_Ar (until the own frame is
acknowledged) cannot be seen at all.

Source: N_Bs, N_Cr and STmin, ISO 15765-2:2016, 9.6.5.4 and 9.8 (M).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import gcd
from typing import Final

from canlog.isotp.messages import Anomaly, Message

MS_NS: Final = 1_000_000
#: Anomalies and reasons by the timer of the standard that ran out: 1 s each.
N_BS: Final = frozenset({"flow-control-late", "timeout-n-bs", "no-flow-control-and-no-data", "wait-then-silence"})
N_CR: Final = frozenset({"stall", "timeout-n-cr"})
#: Fewer times than this may be whole milliseconds by chance.
_LEAST_TIMES: Final = 4


@dataclass(frozen=True, slots=True)
class TransportTimes:
    """Times of the messages of one link; None where nothing shows it.

    ``longest_gap_ns`` is the longest time between two frames of one message (flow control included), which
    ``longest_gap_lines`` (first, last) holds; ``separation_asked_ns`` the longest gap a receiver asked for (STmin);
    ``n_bs_passed`` and ``n_cr_passed`` are the lines at which 1 s had passed without the frame due.
    """

    longest_gap_ns: int | None
    longest_gap_lines: tuple[int, int] | None
    separation_asked_ns: int | None
    n_bs_passed: tuple[int, ...]
    n_cr_passed: tuple[int, ...]


def transport_times(messages: Iterable[Message]) -> TransportTimes:
    """The times of one link's messages, given in order of completion."""
    longest: Message | None = None
    asked: int | None = None
    passed: list[Anomaly] = []
    for message in messages:
        if message.n_frames > 1 and (longest is None or message.longest_gap_ns > longest.longest_gap_ns):
            longest = message
        if message.separation_ns is not None:
            asked = max(asked or 0, message.separation_ns)
        if message.anomalies:
            passed += message.anomalies
    return TransportTimes(
        longest_gap_ns=longest.longest_gap_ns if longest is not None else None,
        longest_gap_lines=longest.lines if longest is not None else None,
        separation_asked_ns=asked,
        n_bs_passed=tuple(item.line for item in passed if item.rule in N_BS),
        n_cr_passed=tuple(item.line for item in passed if item.rule in N_CR),
    )


def stamp_step_ns(messages: Sequence[Message]) -> int:
    """The step of the stamps where it is a whole number of milliseconds, ns; 0 where they are finer or too few.

    Args:
        messages: of one link, two stamps each.
    """
    if 2 * len(messages) < _LEAST_TIMES:
        return 0
    first_ns = messages[0].begin_ns
    step = 0
    for message in messages:
        step = gcd(step, message.begin_ns - first_ns, message.end_ns - first_ns)
        if step % MS_NS:
            return 0
    return step
