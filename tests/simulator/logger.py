"""The logger beside the bus: from frames to lines, with the faults a logger has."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from .bus import Record
from .clock import US


@dataclass
class Logger:
    """How a recording is written down: the channel's name, the moment it begins, what goes wrong."""

    start_ns: int  # since 1970
    channel: str = "can0"
    loses: Callable[[Record], bool] | None = None  # fault: the first frame it is true for is missing
    doubles: bool = False  # fault: every frame stands twice

    def lines(self, records: Iterable[Record]) -> list[str]:
        """``(sec.usec) channel ID#DATA`` for each frame, the form ``candump -l`` writes (can-utils)."""
        out: list[str] = []
        lost = False
        for record in records:
            if not lost and self.loses is not None and self.loses(record):
                lost = True
                continue
            out.append(self._line(record, 0))
            if self.doubles:
                out.append(self._line(record, 14 * US))
        return out

    def _line(self, record: Record, later_ns: int) -> str:
        seconds, fraction = divmod(self.start_ns + record.time_ns + later_ns, 1_000_000_000)
        frame = record.frame
        can_id = f"{frame.can_id:08X}" if frame.extended else f"{frame.can_id:03X}"
        return f"({seconds:010d}.{fraction // 1000:06d}) {self.channel} {can_id}#{frame.data.hex().upper()}"
