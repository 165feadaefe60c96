"""Where the bytes of a diagnostic message over Ethernet stand among the packets of a capture.

Source: ISO 13400-2:2019, clause 9 (M), as in ``canlog.doip``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from canlog.capture.ip import TCP, Datagram, read_datagram
from canlog.doip.headers import HEADER_BYTES, DoipMessage
from canlog.doip.reassembly import DoipReassembler, Heard
from canlog.frames import FrameTable
from canlog.isotp.messages import Message

Indices = npt.NDArray[np.int64]
#: A byte of a message that stands in no frame.
NOWHERE: Final = -1
_ADDRESSES: Final = 4  # in front of the diagnostic data


@dataclass(frozen=True)
class Carrier:
    """A packet, and where in ``table.payload`` the bytes begin that TCP or UDP carries in it."""

    row: int
    datagram: Datagram
    start: int

    @property
    def end(self) -> int:
        """Behind the last of them."""
        return self.start + len(self.datagram.payload)

    @property
    def is_tcp(self) -> bool:
        """Else UDP."""
        return self.datagram.protocol == TCP


@dataclass
class PacketPlaces:
    """The packets of a capture and the messages in them."""

    table: FrameTable
    carriers: list[Carrier] = field(default_factory=list)
    heard: list[Heard] = field(default_factory=list)
    others: list[DoipMessage] = field(default_factory=list)

    def __post_init__(self) -> None:
        reassembler = DoipReassembler()
        reassembler.feed(self.table)
        self.heard, self.others = reassembler.heard(), reassembler.others()
        for row in np.flatnonzero(self.table.packets()).tolist():
            datagram = read_datagram(self.table.data(row))
            if datagram is not None:
                self.carriers.append(Carrier(row, datagram, int(self.table.offset[row]) + datagram.start))
        self._ends = {int(self.table.line[one.row]): one.end for one in self.carriers}
        self._by_message: dict[object, list[Heard]] = {}
        for one in self.heard:
            self._by_message.setdefault(_key(one.message), []).append(one)

    def of(self, message: Message) -> Indices:
        """shape (len(message.data),): the index into ``table.payload`` of each byte, or ``NOWHERE``."""
        found = self._by_message.get(_key(message))
        if not found:
            return np.full(len(message.data), NOWHERE, dtype=np.int64)
        found.append(found.pop(0))  # equal ones take turns
        return self.content(found[-1].carried)[_ADDRESSES:]

    def content(self, message: DoipMessage) -> Indices:
        """The same for all that follows a message's header."""
        return self.whole(message)[HEADER_BYTES:]

    def whole(self, message: DoipMessage) -> Indices:
        """The same with the header."""
        found = np.full(HEADER_BYTES + len(message.data), NOWHERE, dtype=np.int64)
        for part in message.stretches:
            start, at = self._ends[part.line] - part.from_end, HEADER_BYTES + part.at
            found[at : at + part.size] = np.arange(start, start + part.size)
        return found


def _key(message: Message) -> object:
    return message.link.key, message.direction, message.first_line, message.last_line, message.data
