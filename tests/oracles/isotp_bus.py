"""Two can-isotp ends on a bus in memory: can-isotp 2.0.7 (MIT) encodes and decodes, we listen.

Shared by the tests here and by ``python -m tests.long_run transport``.
"""

from __future__ import annotations

import random
from collections import deque
from copy import copy
from dataclasses import dataclass

import isotp

from canlog.frames import Frame, FrameFlag, table_of
from canlog.isotp.addressing import Direction, parse_link
from canlog.isotp.bulk import BulkReassembler
from canlog.isotp.links import LinkFinder
from canlog.isotp.messages import Message
from canlog.isotp.reassembly import Reassembler

_FLOW_CONTROL, _WAIT = 0x3, 0x31


@dataclass(frozen=True)
class Addresses:
    """One way to address a tester and a module, for can-isotp and for us."""

    key: str
    tester: isotp.Address
    module: isotp.Address


NORMAL = Addresses(
    "7E0>7E8",
    isotp.Address(isotp.AddressingMode.Normal_11bits, txid=0x7E0, rxid=0x7E8),
    isotp.Address(isotp.AddressingMode.Normal_11bits, txid=0x7E8, rxid=0x7E0),
)
FIXED = Addresses(
    "18DA2AF1>18DAF12A",
    isotp.Address(isotp.AddressingMode.NormalFixed_29bits, target_address=0x2A, source_address=0xF1),
    isotp.Address(isotp.AddressingMode.NormalFixed_29bits, target_address=0xF1, source_address=0x2A),
)
EXTENDED = Addresses(
    "6F1.1A>61A.F1",
    isotp.Address(
        isotp.AddressingMode.Extended_11bits, txid=0x6F1, rxid=0x61A, target_address=0x1A, source_address=0xF1
    ),
    isotp.Address(
        isotp.AddressingMode.Extended_11bits, txid=0x61A, rxid=0x6F1, target_address=0xF1, source_address=0x1A
    ),
)
MIXED = Addresses(
    "18CE2AF1.55>18CEF12A.55",
    isotp.Address(isotp.AddressingMode.Mixed_29bits, target_address=0x2A, source_address=0xF1, address_extension=0x55),
    isotp.Address(isotp.AddressingMode.Mixed_29bits, target_address=0xF1, source_address=0x2A, address_extension=0x55),
)
NORMAL_29 = Addresses(
    "1BC00101>1BC00181",
    isotp.Address(isotp.AddressingMode.Normal_29bits, txid=0x1BC00101, rxid=0x1BC00181),
    isotp.Address(isotp.AddressingMode.Normal_29bits, txid=0x1BC00181, rxid=0x1BC00101),
)
EXTENDED_29 = Addresses(
    "1BC006F1.1A>1BC0061A.F1",
    isotp.Address(
        isotp.AddressingMode.Extended_29bits, txid=0x1BC006F1, rxid=0x1BC0061A, target_address=0x1A, source_address=0xF1
    ),
    isotp.Address(
        isotp.AddressingMode.Extended_29bits, txid=0x1BC0061A, rxid=0x1BC006F1, target_address=0xF1, source_address=0x1A
    ),
)
MIXED_11 = Addresses(
    "741.55>749.55",
    isotp.Address(isotp.AddressingMode.Mixed_11bits, txid=0x741, rxid=0x749, address_extension=0x55),
    isotp.Address(isotp.AddressingMode.Mixed_11bits, txid=0x749, rxid=0x741, address_extension=0x55),
)
#: Every addressing of ISO 15765-2:2016, 9.2 and 10.3 (M) that can-isotp knows.
ALL_ADDRESSES = (NORMAL, FIXED, EXTENDED, MIXED, NORMAL_29, EXTENDED_29, MIXED_11)


class Bus:
    """Two can-isotp ends and the log between them; the clock is ours, 0.3 ms a frame."""

    def __init__(self, addresses: Addresses, **params: object) -> None:
        self.frames: list[Frame] = []
        self.received: list[tuple[Direction, bytes]] = []
        self.waits = 0  # wait frames in front of the next flow control
        self._control_at = int("." in addresses.key)
        self._to_tester: deque[isotp.CanMessage] = deque()
        self._to_module: deque[isotp.CanMessage] = deque()
        options = {"stmin": 0, "max_frame_size": 100_000, **params}
        self._tester = isotp.TransportLayerLogic(
            rxfn=lambda _timeout: self._to_tester.popleft() if self._to_tester else None,
            txfn=lambda message: self._put(message, self._to_module), address=addresses.tester, params=options,
        )  # fmt: skip
        self._module = isotp.TransportLayerLogic(
            rxfn=lambda _timeout: self._to_module.popleft() if self._to_module else None,
            txfn=lambda message: self._put(message, self._to_tester), address=addresses.module, params=options,
        )  # fmt: skip

    def _put(self, message: isotp.CanMessage, queue: deque[isotp.CanMessage]) -> None:
        if self.waits and message.data[self._control_at] >> 4 == _FLOW_CONTROL:
            held = copy(message)
            held.data = bytearray(message.data)
            held.data[self._control_at] = _WAIT
            for _ in range(self.waits):
                self._log(held, queue)
            self.waits = 0
        self._log(message, queue)

    def _log(self, message: isotp.CanMessage, queue: deque[isotp.CanMessage]) -> None:
        line = len(self.frames) + 1
        flags = (FrameFlag.EXTENDED if message.is_extended_id else FrameFlag(0)) | (
            FrameFlag.FD if message.is_fd else FrameFlag(0)
        )
        data = bytes(message.data)
        self.frames.append(Frame(line * 300_000, "can0", message.arbitration_id, flags, len(data), data, line, 0))
        queue.append(message)

    def send(self, direction: Direction, data: bytes) -> None:
        """One message from end to end; what can-isotp's decoder made of it is kept."""
        assert self.try_to_send(direction, data)

    def try_to_send(self, direction: Direction, data: bytes) -> bool:
        """The same; False if it did not arrive."""
        source, sink = (self._tester, self._module) if direction is Direction.REQUEST else (self._module, self._tester)
        source.send(data)
        for _ in range(4 * len(data) + 20):
            self._tester.process()
            self._module.process()
            if sink.available():
                break
        received = sink.recv()
        # Nothing else is under way: the sender must be done before the next message begins.
        assert not source.transmitting()
        if received is None:
            return False
        self.received.append((direction, bytes(received)))
        return True


def ours(frames: list[Frame], key: str) -> list[Message]:
    reassembler = Reassembler([parse_link(key)])
    messages = reassembler.feed(table_of(frames))
    assert not reassembler.strays
    return messages + reassembler.finish(frames[-1].time_ns, frames[-1].line)


def conversation(rnd: random.Random, longest: int) -> list[tuple[Direction, bytes]]:
    """Requests and answers of every size class; first bytes that fit a service, so that links are found too."""
    talk = []
    for _ in range(rnd.randrange(2, 6)):
        service = rnd.choice([0x22, 0x2E, 0x31, 0x34])
        body = bytes([rnd.randrange(1, 0x7F), rnd.randrange(256), rnd.randrange(256)])
        for direction, first in ((Direction.REQUEST, service), (Direction.RESPONSE, service + 0x40)):
            size = rnd.choice([0, 3, 4, 5, rnd.randrange(60), rnd.randrange(longest)])
            talk.append((direction, bytes([first]) + body + rnd.randbytes(size)))
    return talk


CLASSIC = [
    {"blocksize": 0},
    {"blocksize": 3},
    {"blocksize": 0, "tx_padding": 0xCC},
    {"blocksize": 1, "tx_padding": 0x55},
]
FD = [
    {"blocksize": 0, "can_fd": True, "tx_data_length": size, "tx_padding": padding}
    for size, padding in ((64, None), (12, 0xAA), (32, 0xCC), (8, None))
]


def _is_too_little(addresses: Addresses, frames: list[Frame], talk: list[tuple[Direction, bytes]]) -> bool:
    """Single frames alone, on ids that no standard names: nothing answered by flow control, hardly a service twice."""
    at = int("." in addresses.key)
    if any(frame.data[at] >> 4 for frame in frames):
        return False
    services = {data[0] for direction, data in talk if direction is Direction.REQUEST}
    return addresses is MIXED_11 or (addresses is NORMAL_29 and len(services) == 1)


def differences(addresses: Addresses, params: dict[str, object], seed: int) -> list[str]:
    """What a random clean session is to can-isotp and not to us; empty when all agree, the column twin included."""
    bus = Bus(addresses, **params)
    talk = conversation(random.Random(seed), 900)
    for direction, data in talk:
        bus.send(direction, data)
    table = table_of(bus.frames)
    messages = ours(bus.frames, addresses.key)
    finder = LinkFinder()
    finder.feed(table)
    bulk = BulkReassembler([parse_link(addresses.key)])
    columns = [*bulk.feed(table), *bulk.finish(bus.frames[-1].time_ns, bus.frames[-1].line)]
    found = {
        "can-isotp": bus.received == talk,
        "messages": [(m.direction, m.data) for m in messages] == talk,
        "anomalies": all(m.complete and not m.anomalies for m in messages),
        "columns": columns == messages,
        "link": [link.key for link in finder.links()] == [f"can0:{addresses.key}"]
        or _is_too_little(addresses, bus.frames, talk),
    }
    return [what for what, is_alike in found.items() if not is_alike]
