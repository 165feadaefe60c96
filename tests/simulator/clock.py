"""A clock that jumps from event to event: a session of 75 s costs a fraction of a second and always runs the same."""

from __future__ import annotations

import heapq
from collections.abc import Callable

US = 1_000
MS = 1_000_000
S = 1_000_000_000


class Clock:
    """Now, in whole nanoseconds since the recording began, and what is due."""

    def __init__(self) -> None:
        self.now_ns = 0
        self._due: list[tuple[int, int, Callable[[], None]]] = []
        self._count = 0

    def at(self, time_ns: int, act: Callable[[], None]) -> None:
        """Do ``act`` at ``time_ns``, or now when that is past; equal times keep their order."""
        self._count += 1
        heapq.heappush(self._due, (max(time_ns, self.now_ns), self._count, act))

    def after(self, delay_ns: int, act: Callable[[], None]) -> None:
        """Do ``act`` ``delay_ns`` from now."""
        self.at(self.now_ns + delay_ns, act)

    def run_until(self, time_ns: int, enough: Callable[[], bool] = lambda: False) -> None:
        """Let time pass until ``time_ns``, or until ``enough()`` after some event."""
        while not enough():
            if not self._due or self._due[0][0] > time_ns:
                self.now_ns = max(self.now_ns, time_ns)
                return
            self.now_ns, _, act = heapq.heappop(self._due)
            act()
