"""Where the bytes of a rebuilt message stand among the data bytes of a capture's frames.

Source: ISO 15765-2:2016, 9.6 (M), as in ``canlog.isotp.pci``.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np

from analysis.redact.packet_places import NOWHERE, Indices, PacketPlaces
from canlog.capture.identifiers import CLASSIC_BYTES
from canlog.frames import FrameFlag, FrameTable
from canlog.isotp.addressing import Addressing, Direction
from canlog.isotp.messages import Message
from canlog.isotp.pci import ConsecutiveFrame, FirstFrame, SingleFrame, decode_frame
from canlog.names.value_layout import FILL

#: Bytes in front of the pieces of a text that is sent frame by frame: none, a number, a number and a count.
_PIECE_HEADS: Final = (0, 1, 2)
#: A frame that is a piece of text holds nothing else behind its first byte; so many of an id are sorted by that byte.
_TEXT_OR_FILL: Final = np.array([(chr(one).isalnum() and one < 0x80) or one in FILL for one in range(256)])
_MOST_PIECES: Final = 64
_TRIED: Final = 100 * _MOST_PIECES
SideKey = tuple[str, int, bool]  # channel, id, 29 bits


class TextPieces(NamedTuple):
    """A text put together, where its signs stand in the first frame of each piece, and the frames of each piece."""

    key: SideKey
    text: bytes
    at: Indices
    same: list[list[int]]


@dataclass
class Places:
    """The frames of a capture by id, to find the bytes of messages in."""

    table: FrameTable
    by_side: dict[SideKey, list[int]] = field(default_factory=dict)
    used: set[int] = field(default_factory=set)  # rows whose bytes were found in a message
    packets: PacketPlaces = field(init=False)
    _ends: dict[int, int] = field(default_factory=dict, repr=False)  # by row: behind the last byte of a message

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

    def text_pieces(self) -> Iterator[TextPieces]:
        """Of each id the frames that hold text alone, each once, by their first byte: a text sent in pieces."""
        table = self.table
        strange = np.concatenate(([0], np.cumsum(~_TEXT_OR_FILL[table.payload])))
        for key, rows in self.by_side.items():
            starts, ends = table.offset[rows], table.offset[rows] + table.length[rows]
            firsts = np.minimum(starts + 1, ends)
            found = np.array(rows)[(strange[ends] == strange[firsts]) & (ends - firsts > 1)].tolist()
            if not found or len({table.data(row) for row in found[:_TRIED]}) > _MOST_PIECES:
                continue
            same: dict[bytes, list[int]] = {}
            for row in found:
                same.setdefault(table.data(row), []).append(row)
            pieces = [(rows[0], data[1:].rstrip(FILL)) for data, rows in sorted(same.items())]
            at = [int(table.offset[row]) + 1 + np.arange(len(text), dtype=np.int64) for row, text in pieces]
            yield TextPieces(key, b"".join(text for _, text in pieces), np.concatenate(at), list(same.values()))

    def end_of_payload(self, row: int) -> int:
        """How many bytes of a used frame are no fill bytes."""
        return self._ends[row]

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
            self._ends[row] = start + len(piece) - int(self.table.offset[row])
            at += len(piece)
        return found


def head_bytes(frame: SingleFrame | FirstFrame | ConsecutiveFrame, data: bytes, *, has_address: bool) -> int:
    """Bytes in front of the payload: address and control information; a single frame may have fill bytes behind."""
    if isinstance(frame, SingleFrame):
        return has_address + (1 if len(data) <= CLASSIC_BYTES else 2)
    return len(data) - len(frame.data)


def streams(table: FrameTable, sides: dict[SideKey, list[int]]) -> Iterator[tuple[SideKey, bytes, Indices]]:
    """The data of one id as one text, without the first bytes of each frame, and where each byte stands."""
    for key, rows in sides.items():
        for head in _PIECE_HEADS:
            starts = table.offset[rows] + np.minimum(head, table.length[rows])
            sizes = (table.offset[rows] + table.length[rows] - starts).astype(np.int64)
            before = np.cumsum(sizes) - sizes
            indices = np.repeat(starts - before, sizes) + np.arange(sizes.sum(), dtype=np.int64)
            yield key, table.payload[indices].tobytes(), indices
