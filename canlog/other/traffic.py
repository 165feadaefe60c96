"""What a recogniser gives: a protocol on a channel, the signs that speak for it, and facts that it carries.

Signs are weighed. A protocol is named from :data:`ENOUGH` on: no single sign reaches that, so that one id that
happens to look like it names nothing. The weights are our own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, NamedTuple

from canlog.background import BackgroundTable, IdTraffic
from canlog.frames import Frame

ENOUGH: Final = 6
BEYOND_DOUBT: Final = 9


class Seen(NamedTuple):
    """Lines of the capture and what they show."""

    text: str
    lines: tuple[int, ...]


class Sign(NamedTuple):
    """Something that speaks for a protocol, and how much."""

    weight: int
    seen: Seen


@dataclass(frozen=True, slots=True)
class OtherTraffic:
    """A protocol on one channel. ``facts`` are what it tells about the vehicle, as far as we read it."""

    protocol: str
    channel: str
    signs: tuple[Sign, ...]
    facts: tuple[Seen, ...] = ()

    @property
    def score(self) -> int:
        """Weight of all signs together."""
        return sum(sign.weight for sign in self.signs)

    @property
    def is_sure(self) -> bool:
        """More signs than it takes."""
        return self.score >= BEYOND_DOUBT


class Bus:
    """The ids of one channel, with the first frames of each."""

    def __init__(self, table: BackgroundTable, channel: str) -> None:
        self.table = table
        self.channel = channel
        self.ids = [each for each in table.traffic if each.channel == channel]

    def first_frames(self, one: IdTraffic) -> tuple[Frame, ...]:
        """The first frames of an id, at most :data:`~canlog.background.SAMPLE_FRAMES`, in source order."""
        return self.table.first_frames(one.channel, one.can_id, one.extended)

    def named(self, protocol: str, signs: Iterable[Sign], facts: Iterable[Seen] = ()) -> list[OtherTraffic]:
        """The protocol, if there are enough signs of it."""
        found = OtherTraffic(protocol, self.channel, tuple(signs), tuple(facts))
        return [found] if found.score >= ENOUGH else []


def lines_of(one: IdTraffic) -> tuple[int, ...]:
    """First and last line of an id; one line where it came once."""
    return (one.first_line,) if one.frames == 1 else (one.first_line, one.last_line)
