"""Messages of a candump capture put together by hand, apart from everything under test, to check answers against.

ISO 15765-2 with normal addressing only, and only what arrives whole and in order: what does not is simply not here.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

from sessions import lines_of


class Frame(NamedTuple):
    """One line of the capture; time in µs."""

    line: int
    at: int
    can_id: str
    data: bytes


class Said(NamedTuple):
    """One message, and its frames."""

    can_id: str
    data: bytes
    frames: tuple[Frame, ...]

    @property
    def lines(self) -> tuple[int, int]:
        """First and last line."""
        return self.frames[0].line, self.frames[-1].line


@cache
def frames_in(name: str) -> tuple[Frame, ...]:
    """All data frames, in order."""
    found = []
    for line, text in enumerate(lines_of(name), start=1):
        time, _, rest = text.split(maxsplit=2)
        can_id, _, data = rest.partition("#")
        found.append(Frame(line, int(time.strip("()").replace(".", "")), can_id, bytes.fromhex(data)))
    return tuple(found)


@cache
def said_in(name: str) -> tuple[Said, ...]:
    """All messages, in the order of their last frames."""
    begun: dict[str, tuple[int, list[Frame]]] = {}
    found = []
    for frame in frames_in(name):
        kind, low = frame.data[0] >> 4, frame.data[0] & 0xF
        if kind == 0 and 0 < low < len(frame.data):
            found.append(Said(frame.can_id, frame.data[1 : 1 + low], (frame,)))
        elif kind == 1:
            begun[frame.can_id] = (low << 8) + frame.data[1], [frame]
        elif kind == 2 and frame.can_id in begun:
            size, own = begun[frame.can_id]
            if low != len(own) & 0xF:
                del begun[frame.can_id]
                continue
            own.append(frame)
            data = own[0].data[2:] + b"".join(one.data[1:] for one in own[1:])
            if len(data) >= size:
                found.append(Said(frame.can_id, data[:size], tuple(own)))
                del begun[frame.can_id]
    return tuple(found)


@cache
def said_by_lines(name: str) -> dict[tuple[int, int], Said]:
    """Messages by their first and last line."""
    return {one.lines: one for one in said_in(name)}
