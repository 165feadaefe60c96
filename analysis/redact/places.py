"""Where the bytes of a rebuilt message stand among the data bytes of a capture's frames.

Source: ISO 15765-2:2016, 9.6 (M), as in ``canlog.isotp.pci``.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field

import numpy as np

from analysis.redact.packet_places import NOWHERE, Indices, PacketPlaces
from canlog.capture.identifiers import CLASSIC_BYTES
from canlog.frames import FrameFlag, FrameTable
from canlog.isotp.addressing import Addressing, Direction
from canlog.isotp.messages import Message
from canlog.isotp.pci import ConsecutiveFrame, FirstFrame, SingleFrame, decode_frame

SideKey = tuple[str, int, bool]  # channel, id, 29 bits


@dataclass
class Places:
    """The frames of a capture by id, to find the bytes of messages in."""

    table: FrameTable
    by_side: dict[SideKey, list[int]] = field(default_factory=dict)
    used: set[int] = field(default_factory=set)  # rows whose bytes were found in a message
    packets: PacketPlaces = field(init=False)

    def __post_init__(self) -> None:
        table = self.table
        self.packets = PacketPlaces(table)
        hidden = int(FrameFlag.REMOTE | FrameFlag.ERROR | FrameFlag.PACKET)
        rows = np.flatnonzero((table.flags & hidden) == 0)
        long = (table.flags & int(FrameFlag.EXTENDED)) != 0
        for row in rows:
            key = (table.channels[int(table.channel[row])], int(table.can_id[row]), bool(long[row]))
            self.by_side.setdefault(key, []).append(int(row))
        self._lines = {key: [int(table.line[row]) for row in rows] for key, rows in self.by_side.items()}

    def of(self, message: Message) -> Indices:
        """shape (len(message.data),): the index into ``table.payload`` of each byte, or ``NOWHERE``."""
        link = message.link
        if link.addressing is Addressing.DOIP:
            return self.packets.of(message)
        back = message.direction is Direction.RESPONSE
        can_id = link.response_id if back else link.request_id
        if can_id is None:
            return np.full(len(message.data), NOWHERE, dtype=np.int64)
        key = (link.channel, can_id, link.response_extended if back else link.request_extended)
        address = link.response_address if back else link.request_address
        lines = self._lines.get(key, [])
        rows = self.by_side.get(key, [])[
            bisect_left(lines, message.first_line) : bisect_right(lines, message.last_line)
        ]
        return self._walk(message, rows, address)

    def _walk(self, message: Message, rows: list[int], address: int | None) -> Indices:
        found = np.full(len(message.data), NOWHERE, dtype=np.int64)
        holes = {part.start: part.end for part in message.missing}
        at = 0
        for row in rows:
            data = self.table.data(row)
            if address is not None and data[:1] != bytes([address]):
                continue
            frame = decode_frame(data, has_address=address is not None)
            at = holes.get(at, at)
            if not isinstance(frame, SingleFrame | FirstFrame | ConsecutiveFrame) or at >= len(found):
                continue
            if not isinstance(frame, ConsecutiveFrame) and at and not message.missing:
                continue
            piece = frame.data[: len(found) - at]
            if piece != message.data[at : at + len(piece)]:
                continue  # a frame that the transport refused
            start = int(self.table.offset[row]) + head_bytes(frame, data, has_address=address is not None)
            found[at : at + len(piece)] = np.arange(start, start + len(piece))
            self.used.add(row)
            at += len(piece)
        return found


def head_bytes(frame: SingleFrame | FirstFrame | ConsecutiveFrame, data: bytes, *, has_address: bool) -> int:
    """Bytes in front of the payload: address and control information; a single frame may have fill bytes behind."""
    if isinstance(frame, SingleFrame):
        return has_address + (1 if len(data) <= CLASSIC_BYTES else 2)
    return len(data) - len(frame.data)
