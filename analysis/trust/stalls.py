"""Messages with a pause inside that no receiver waits for, answered all the same.

Their receiver must have given them up. So a piece of the record is missing between the two frames, and the halves may
be of two messages; or the clock was set. A message that nobody answered is the bus's own affair.
Source: N_Cr and N_Bs 1 s, ISO 15765-2:2016, 9.8 (M).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from analysis.exchanges import Exchange
from canlog.background import Gap
from canlog.counting import lasting
from canlog.isotp.addressing import Direction
from canlog.isotp.messages import Message

STOOD_STILL: Final = frozenset({"stall", "flow-control-late"})


class Stall(NamedTuple):
    """The frame behind the pause, and the message that it belongs to."""

    line: int
    message: Message

    @property
    def said(self) -> str:
        """For people."""
        first, last = self.message.lines
        return (
            f"{lasting(self.message.longest_gap_ns)} between two frames of the message in lines {first}-{last}, and it "
            "was taken all the same: frames are missing inside it, or the clock was set"
        )


def find_stalls(exchanges: Sequence[Exchange], gaps: Sequence[Gap]) -> list[Stall]:
    """Those of one capture that no silence of the whole record (``gaps``) tells already, each message once."""
    found = {one.message.lines: one for item in exchanges for one in _stalls(item)}
    return [one for one in found.values() if not any(gap.from_line < one.line <= gap.to_line for gap in gaps)]


def _stalls(item: Exchange) -> Iterator[Stall]:
    for message in item.messages:
        if not message.complete or not message.anomalies or not _was_taken(item, message):
            continue
        line = next((one.line for one in message.anomalies if one.rule in STOOD_STILL), None)
        if line is not None:
            yield Stall(line, message)


def _was_taken(item: Exchange, message: Message) -> bool:
    """Nothing is seen of who took an answer; a request was taken when anything answers it."""
    return message.direction is Direction.RESPONSE or item.response is not None or bool(item.pendings)
