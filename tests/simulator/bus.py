"""The wire: one frame at a time, the lowest id first, and everybody hears it at its end."""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Callable
from functools import partial
from typing import NamedTuple, Protocol

from .clock import Clock
from .framebits import frame_bits


class Frame(NamedTuple):
    """A classic data frame."""

    can_id: int
    extended: bool
    data: bytes


class Sender(Protocol):
    """Anything with a supply: what it queued is dropped when it has none left."""

    @property
    def can_send(self) -> bool: ...


class Record(NamedTuple):
    """A frame and the moment its last bit was seen."""

    time_ns: int
    frame: Frame


class Told(NamedTuple):
    """A whole message, and the moment its last frame was through."""

    time_ns: int
    can_id: int
    data: bytes


class Bus:
    """One classic CAN line; ``records`` is what a perfect logger would have seen."""

    def __init__(self, clock: Clock, *, bit_rate: int = 500_000) -> None:
        self.clock = clock
        self.records: list[Record] = []
        self.told: list[Told] = []
        self._bit_ns = 1_000_000_000 // bit_rate
        self._waiting: list[tuple[tuple[int, bool, int], int, Frame, Sender, Callable[[], None] | None]] = []
        self._count = 0
        self._busy = False
        self._listeners: dict[tuple[int, bool], list[Callable[[Frame], None]]] = defaultdict(list)
        self.watchers: list[Callable[[Record], None]] = []

    def listen(self, can_id: int, extended: bool, hear: Callable[[Frame], None]) -> None:
        """Call ``hear`` with every frame of this id."""
        self._listeners[can_id, extended].append(hear)

    def send(self, frame: Frame, sender: Sender, sent: Callable[[], None] | None = None) -> None:
        """Queue a frame; ``sent`` is called when it is through."""
        self._count += 1
        heapq.heappush(self._waiting, (_priority(frame), self._count, frame, sender, sent))
        if not self._busy:
            # everything queued in this very moment takes part in the same arbitration
            self._busy = True
            self.clock.after(0, self._start)

    def _start(self) -> None:
        while self._waiting:
            _, _, frame, sender, sent = heapq.heappop(self._waiting)
            if sender.can_send:
                self.clock.after(frame_bits(*frame) * self._bit_ns, partial(self._end, frame, sent))
                return
        self._busy = False

    def _end(self, frame: Frame, sent: Callable[[], None] | None) -> None:
        record = Record(self.clock.now_ns, frame)
        self.records.append(record)
        for hear in list(self._listeners[frame.can_id, frame.extended]):
            hear(frame)
        if sent is not None:
            sent()
        for watch in list(self.watchers):
            watch(record)
        self._start()


def _priority(frame: Frame) -> tuple[int, bool, int]:
    """Arbitration: 11 base bits, then a standard frame before an extended one, then the other 18 bits."""
    if frame.extended:
        return frame.can_id >> 18, True, frame.can_id & 0x3FFFF
    return frame.can_id, False, 0
