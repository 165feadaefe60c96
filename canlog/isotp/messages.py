"""Rebuilt messages: what ISO 15765-2 carried, whole or broken, with the lines it came from."""

from __future__ import annotations

from abc import abstractmethod
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, chain
from typing import TYPE_CHECKING, NamedTuple, overload

from canlog.isotp.addressing import Direction, Link

if TYPE_CHECKING:
    import pandas as pd


#: Reason of a request that a gateway could not pass on, because its module does not answer there either.
NOT_REACHED = "module-not-reached"


class Anomaly(NamedTuple):
    """A frame that broke a rule of the transport: data, never an exception."""

    rule: str  # stable id, e.g. "wrong-sequence-number"
    line: int
    time_ns: int
    text: str  # one sentence


class Missing(NamedTuple):
    """Bytes of a message that no frame brought: half-open range of payload offsets."""

    start: int
    end: int


class Repeated(NamedTuple):
    """One frame many times in a row with nothing else on its channel in between (:mod:`canlog.isotp.repeats`)."""

    link: Link
    direction: Direction
    frames: int
    first_line: int
    last_line: int
    begin_ns: int
    end_ns: int


@dataclass(frozen=True, slots=True)
class Message:
    """One transfer of one direction of a link.

    ``data`` holds the payload with missing ranges filled by zeros and cut behind the last byte seen;
    ``length`` is the length announced (the bytes seen when nothing announced one).
    """

    link: Link
    direction: Direction
    begin_ns: int
    end_ns: int
    first_line: int
    last_line: int
    position: int  # byte position of the first line
    n_frames: int  # data frames of this message, flow control not counted
    complete: bool
    reason: str  # empty when complete; else a stable id, e.g. "capture-ended"
    length: int
    data: bytes
    missing: tuple[Missing, ...] = ()
    anomalies: tuple[Anomaly, ...] = ()
    flow_control_lines: tuple[int, ...] = ()  # flow control frames that served this message
    longest_gap_ns: int = 0  # between two frames that moved it, flow control included
    separation_ns: int | None = None  # gap the receiver asked for (STmin), None when no flow control was seen
    block_size: int | None = None  # frames until the next flow control the receiver asked for, 0: all

    @property
    def has_hole(self) -> bool:
        """Bytes in front of the last one seen are missing: frames are lost, not merely still to come."""
        return any(part.start < len(self.data) for part in self.missing)

    @property
    def was_sent(self) -> bool:
        """Its sender said all of it, whether it arrived or not."""
        return self.complete or self.reason == NOT_REACHED

    @property
    def lines(self) -> tuple[int, int]:
        """First and last source line."""
        return (self.first_line, self.last_line)


class MadeOnDemand(Sequence[Message]):
    """Messages kept as columns; each is made when it is looked at."""

    @abstractmethod
    def make(self, row: int) -> Message:
        """One message; ``row`` is in range and not negative."""

    @overload
    def __getitem__(self, row: int) -> Message: ...
    @overload
    def __getitem__(self, row: slice) -> Sequence[Message]: ...
    def __getitem__(self, row: int | slice) -> Message | Sequence[Message]:
        rows = range(len(self))[row]
        return self.make(rows) if isinstance(rows, int) else [self.make(each) for each in rows]


class JoinedMessages(MadeOnDemand):
    """The messages of many tables as one sequence. Whoever looks at all of them keeps them."""

    def __init__(self, parts: Iterable[Sequence[Message]]) -> None:
        self._parts = [part for part in parts if len(part)]
        self._ends = list(accumulate(map(len, self._parts)))

    def __len__(self) -> int:
        return self._ends[-1] if self._ends else 0

    def make(self, row: int) -> Message:
        """One message, from the part that holds it."""
        part = bisect_right(self._ends, row)
        return self._parts[part][row - (self._ends[part - 1] if part else 0)]

    def __iter__(self) -> Iterator[Message]:
        if len(self._parts) > 1 or not all(isinstance(part, tuple) for part in self._parts):
            self._parts = [tuple(chain.from_iterable(self._parts))]
            self._ends = [len(self._parts[0])]
        return chain.from_iterable(self._parts)


@dataclass(frozen=True, slots=True)
class MessageTable:
    """Messages in order of completion, with the links they belong to and what belonged to none."""

    links: tuple[Link, ...]
    messages: Sequence[Message]
    strays: tuple[Anomaly, ...] = ()  # frames on link ids that became part of no message
    repeats: tuple[Repeated, ...] = ()  # frames that nobody acknowledged

    def __len__(self) -> int:
        return len(self.messages)

    def __getitem__(self, row: int) -> Message:
        return self.messages[row]

    def __iter__(self) -> Iterator[Message]:
        return iter(self.messages)

    def of(self, link: Link) -> Iterable[Message]:
        """The messages of one link."""
        is_same: dict[int, bool] = {}  # by object: messages share theirs, and a key takes time to write
        for message in self.messages:
            known = id(message.link)
            if known not in is_same:
                is_same[known] = message.link.key == link.key
            if is_same[known]:
                yield message

    def to_pandas(self) -> pd.DataFrame:
        """One row a message: link key, direction, times in seconds, lines, complete, reason, length, data."""
        import pandas as pd

        return pd.DataFrame(
            {
                "link": [m.link.key for m in self.messages],
                "direction": [m.direction.value for m in self.messages],
                "begin_s": [m.begin_ns / 1e9 for m in self.messages],
                "end_s": [m.end_ns / 1e9 for m in self.messages],
                "first_line": [m.first_line for m in self.messages],
                "last_line": [m.last_line for m in self.messages],
                "complete": [m.complete for m in self.messages],
                "reason": [m.reason for m in self.messages],
                "length": [m.length for m in self.messages],
                "data": [m.data for m in self.messages],
            }
        )
