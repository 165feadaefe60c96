"""ISO 15765-2 as one side of a link sends and receives it.

Frame layouts and times: ISO 15765-2:2016 clause 9 (M). The unit tests have can-isotp put every message of a
recording together again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from random import Random
from typing import NamedTuple

from .bus import Bus, Frame, Sender, Told
from .clock import MS, US

N_BS_NS = 1000 * MS  # the sender gives up when no flow control comes
N_CR_NS = 1000 * MS  # the receiver gives up when no consecutive frame comes


class Address(NamedTuple):
    """An id, and the address byte in front of the payload where the addressing has one."""

    can_id: int
    extended: bool = False
    byte: int | None = None

    @property
    def head(self) -> bytes:
        return b"" if self.byte is None else bytes([self.byte])

    def text(self) -> str:
        """The id in hex, with ``.AA`` for an address byte."""
        digits = f"{self.can_id:08X}" if self.extended else f"{self.can_id:03X}"
        return digits if self.byte is None else f"{digits}.{self.byte:02X}"


@dataclass
class FlowControl:
    """What a receiver asks of the sender."""

    block_size: int = 0
    separation_ms: int = 0
    padded: bool = True


class Endpoint:
    """One end of a link: sends on one address, hears on another."""

    def __init__(
        self, bus: Bus, rng: Random, owner: Sender, *, send: Address, hear: Address, padding: int | None,
        message: Callable[[bytes], None], flow: FlowControl | None = None,
    ) -> None:  # fmt: skip
        self.bus, self.rng, self.owner = bus, rng, owner
        self.sends_on, self.hears_on, self.padding = send, hear, padding
        self.message = message
        self.flow = flow or FlowControl()
        self.sent_messages: list[bytes] = []
        self.after_frames: tuple[int, Callable[[], None]] | None = None  # fault: act after so many frames sent
        self.swallow_next = False  # fault: the next message is never sent
        self._rest: list[bytes] = []  # consecutive frames still to send
        self._may_send = 0
        self._separation_ns = 0
        self._awaits_flow = 0  # number of the wait in progress, 0: none
        self._waits = 0
        self._on_sent: Callable[[], None] | None = None
        self._incoming = bytearray()
        self._missing = 0
        self._next_number = 0
        self._since_flow = 0
        self._reception = 0
        bus.listen(hear.can_id, hear.extended, self._hear)

    # -- sending

    def send(self, payload: bytes, sent: Callable[[], None] | None = None) -> None:
        """Send one message; ``sent`` is called after its last frame."""
        if self.swallow_next:
            self.swallow_next = False
            return
        self.sent_messages.append(payload)
        self._on_sent = sent
        self._rest = []
        self._awaits_flow = 0
        room = 8 - len(self.sends_on.head)
        if len(payload) < room:
            self._put(bytes([len(payload)]) + payload, self._done)
            return
        head = bytes([0x10 | len(payload) >> 8, len(payload) & 0xFF])
        first = room - 2
        chunks = [payload[at : at + room - 1] for at in range(first, len(payload), room - 1)]
        self._rest = [bytes([0x20 | (number + 1) & 0xF]) + chunk for number, chunk in enumerate(chunks)]
        self._put(head + payload[:first], self._wait_for_flow)

    def _put(self, content: bytes, then: Callable[[], None] | None) -> None:
        data = self.sends_on.head + content
        if self.padding is not None:
            data = data.ljust(8, bytes([self.padding]))
        self.bus.send(Frame(self.sends_on.can_id, self.sends_on.extended, data), self.owner, self._counted(then))

    def _counted(self, then: Callable[[], None] | None) -> Callable[[], None]:
        def sent() -> None:
            if self.after_frames is not None:
                left, act = self.after_frames
                self.after_frames = (left - 1, act) if left > 1 else None
                if left == 1:
                    act()
            if then is not None:
                then()

        return sent

    def _done(self) -> None:
        self.bus.told.append(Told(self.bus.clock.now_ns, self.sends_on.can_id, self.sent_messages[-1]))
        if self._on_sent is not None:
            self._on_sent()

    def _wait_for_flow(self) -> None:
        self._waits += 1
        waiting = self._awaits_flow = self._waits

        def give_up() -> None:
            if self._awaits_flow == waiting:
                self._rest = []
                self._awaits_flow = 0

        self.bus.clock.after(N_BS_NS, give_up)

    def _hear_flow(self, content: bytes) -> None:
        if not self._awaits_flow:
            return
        status, block_size, separation = content[0] & 0xF, content[1], content[2]
        if status == 1:
            self._wait_for_flow()
            return
        self._awaits_flow = 0
        if status != 0:
            self._rest = []
            return
        self._may_send = block_size or len(self._rest)
        self._separation_ns = separation * MS if separation <= 0x7F else (separation - 0xF0) * 100 * US
        self.bus.clock.after(self.rng.randint(40, 180) * US, self._send_next)

    def _send_next(self) -> None:
        if not self._rest or not self.owner.can_send:
            return
        content = self._rest.pop(0)
        self._may_send -= 1
        self._put(content, self._sent_consecutive)

    def _sent_consecutive(self) -> None:
        if not self._rest:
            self._done()
        elif self._may_send == 0:
            self._wait_for_flow()
        else:
            self.bus.clock.after(self._separation_ns + self.rng.randint(8, 70) * US, self._send_next)

    # -- receiving

    def _hear(self, frame: Frame) -> None:
        head = self.hears_on.head
        if frame.data[: len(head)] != head or not self.owner.can_send:
            return
        content = frame.data[len(head) :]
        kind = content[0] >> 4
        if kind == 0:
            self._missing = 0
            self.message(content[1 : 1 + content[0]])
        elif kind == 1:
            self._begin(content)
        elif kind == 2:
            self._collect(content)
        elif kind == 3:
            self._hear_flow(content)

    def _begin(self, content: bytes) -> None:
        length = (content[0] & 0xF) << 8 | content[1]
        self._incoming = bytearray(content[2:])
        self._missing = length - len(self._incoming)
        self._next_number = 1
        self._since_flow = 0
        self._reception += 1
        self._send_flow()

    def _send_flow(self) -> None:
        frame = bytes([0x30, self.flow.block_size, self.flow.separation_ms])
        self.bus.clock.after(self.rng.randint(150, 700) * US, lambda: self._put(frame, None))
        self._watch_reception()

    def _watch_reception(self) -> None:
        reception, length = self._reception, len(self._incoming)

        def give_up() -> None:
            if self._missing and reception == self._reception and length == len(self._incoming):
                self._missing = 0

        self.bus.clock.after(N_CR_NS, give_up)

    def _collect(self, content: bytes) -> None:
        if not self._missing:
            return
        if content[0] & 0xF != self._next_number:
            self._missing = 0
            return
        chunk = content[1:][: self._missing]
        self._incoming += chunk
        self._missing -= len(chunk)
        self._next_number = (self._next_number + 1) & 0xF
        self._since_flow += 1
        if not self._missing:
            self.message(bytes(self._incoming))
        elif self.flow.block_size and self._since_flow == self.flow.block_size:
            self._since_flow = 0
            self._send_flow()
        else:
            self._watch_reception()
