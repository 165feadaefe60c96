"""The transport against two libraries: can-isotp 2.0.7 (MIT) and scapy 2.8.0 (GPL-2.0).

can-isotp plays both ends of a bus in memory: its encoder makes the frames, its decoder and ours read them.
scapy's message builder reads the same frames. On clean sessions all three must agree to the byte. Where an
oracle is known to be wrong, a test with its name shows the difference and says why ours stands.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

import isotp
import pytest
import scapy.contrib.isotp as scapy_isotp
import scapy.layers.can as scapy_can
from hypothesis import given, settings
from hypothesis import strategies as st

from canlog.frames import Frame, FrameFlag, table_of
from canlog.isotp.addressing import Direction, parse_link
from canlog.isotp.links import LinkFinder
from canlog.isotp.messages import Message
from canlog.isotp.pci import FlowControl, Invalid, Pci, SingleFrame, decode_frame
from canlog.isotp.reassembly import Reassembler


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


class Bus:
    """Two can-isotp ends and the log between them; the clock is ours, 0.3 ms a frame."""

    def __init__(self, addresses: Addresses, **params: object) -> None:
        self.frames: list[Frame] = []
        self.received: list[tuple[Direction, bytes]] = []
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
        line = len(self.frames) + 1
        flags = (FrameFlag.EXTENDED if message.is_extended_id else FrameFlag(0)) | (
            FrameFlag.FD if message.is_fd else FrameFlag(0)
        )
        data = bytes(message.data)
        self.frames.append(Frame(line * 300_000, "can0", message.arbitration_id, flags, len(data), data, line, 0))
        queue.append(message)

    def send(self, direction: Direction, data: bytes) -> None:
        """One message from end to end; what can-isotp's decoder made of it is kept."""
        source, sink = (self._tester, self._module) if direction is Direction.REQUEST else (self._module, self._tester)
        source.send(data)
        for _ in range(4 * len(data) + 20):
            self._tester.process()
            self._module.process()
            if sink.available():
                break
        received = sink.recv()
        assert received is not None
        self.received.append((direction, bytes(received)))
        # Nothing else is under way: the sender must be done before the next message begins.
        assert not source.transmitting()


def ours(frames: list[Frame], key: str) -> list[Message]:
    reassembler = Reassembler([parse_link(key)])
    messages = reassembler.feed(table_of(frames))
    assert not reassembler.strays
    return messages + reassembler.finish(frames[-1].time_ns, frames[-1].line)


def scapy_messages(frames: list[Frame], *, has_address: bool) -> Iterator[bytes]:
    builder = scapy_isotp.ISOTPMessageBuilder(use_ext_address=has_address)
    for frame in frames:
        kind = scapy_can.CANFD if frame.flags & FrameFlag.FD else scapy_can.CAN
        flags = "extended" if frame.flags & FrameFlag.EXTENDED else 0
        builder.feed(kind(identifier=frame.can_id, flags=flags, data=frame.data))
    while (message := builder.pop()) is not None:
        yield bytes(message.data)


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


@pytest.mark.parametrize("addresses", [NORMAL, FIXED, EXTENDED, MIXED], ids=lambda a: a.key)
@pytest.mark.parametrize("params", CLASSIC + FD, ids=str)
@settings(max_examples=8)
@given(seed=st.integers(0, 2**32))
def test_clean_sessions_are_the_same_to_can_isotp_and_to_us(
    addresses: Addresses, params: dict[str, object], seed: int
) -> None:
    bus = Bus(addresses, **params)
    talk = conversation(random.Random(seed), 900)
    for direction, data in talk:
        bus.send(direction, data)
    messages = ours(bus.frames, addresses.key)
    assert [(m.direction, m.data) for m in messages] == bus.received == talk
    assert all(m.complete and not m.anomalies for m in messages)
    finder = LinkFinder()
    finder.feed(table_of(bus.frames))
    assert [link.key for link in finder.links()] == [f"can0:{addresses.key}"]


@pytest.mark.parametrize("addresses", [NORMAL, EXTENDED], ids=lambda a: a.key)
def test_lengths_around_every_border_are_the_same_to_can_isotp_and_to_us(addresses: Addresses) -> None:
    bus = Bus(addresses, blocksize=0)
    talk = [
        (Direction.REQUEST, bytes(n & 0xFF for n in range(1, size + 1)))
        for size in (*range(1, 24), 4094, 4095, 4096, 4097)
    ]
    for direction, data in talk:
        bus.send(direction, data)
    assert [(m.direction, m.data) for m in ours(bus.frames, addresses.key)] == bus.received == talk


@pytest.mark.parametrize("addresses", [NORMAL, FIXED, EXTENDED], ids=lambda a: a.key)
@settings(max_examples=15)
@given(seed=st.integers(0, 2**32))
def test_clean_classic_sessions_are_the_same_to_scapy_and_to_us(addresses: Addresses, seed: int) -> None:
    bus = Bus(addresses, blocksize=0)
    for direction, data in conversation(random.Random(seed), 300):
        bus.send(direction, data)
    expected = [m.data for m in ours(bus.frames, addresses.key)]
    assert list(scapy_messages(bus.frames, has_address=addresses is EXTENDED)) == expected


@settings(max_examples=15)
@given(seed=st.integers(0, 2**32))
def test_clean_fd_sessions_of_long_messages_are_the_same_to_scapy_and_to_us(seed: int) -> None:
    bus = Bus(NORMAL, blocksize=0, can_fd=True, tx_data_length=64)
    rnd = random.Random(seed)
    for number in range(4):
        bus.send(list(Direction)[number % 2], rnd.randbytes(rnd.randrange(63, 900)))
    assert list(scapy_messages(bus.frames, has_address=False)) == [m.data for m in ours(bus.frames, NORMAL.key)]


# -- where an oracle is known to be wrong ----------------------------------------------------------------


def can_isotp_pdu(data: bytes) -> isotp.protocol.PDU:
    return isotp.protocol.PDU(isotp.CanMessage(arbitration_id=0x7E8, data=data))


def test_can_isotp_takes_the_escape_in_a_classic_single_frame() -> None:
    """``00 05 …`` in 8 bytes: the escape is only for frames above 8 bytes; the kernel's isotp.c ignores it."""
    data = bytes.fromhex("0005010203040500")
    assert bytes(can_isotp_pdu(data).data) == bytes.fromhex("0102030405")
    assert isinstance(decode_frame(data), Invalid)


@pytest.mark.parametrize("stmin", ["80", "F0", "FA", "FF"])
def test_can_isotp_refuses_reserved_separation_times(stmin: str) -> None:
    """The standard gives them a meaning, 127 ms; the kernel's isotp.c does so."""
    with pytest.raises(ValueError):
        can_isotp_pdu(bytes.fromhex(f"3000{stmin}"))
    pdu = decode_frame(bytes.fromhex(f"3000{stmin}"))
    assert isinstance(pdu, FlowControl) and pdu.separation_ns == 127_000_000


def test_can_isotp_refuses_a_wait_for_its_separation_time() -> None:
    """In WAIT the other two bytes have no meaning."""
    with pytest.raises(ValueError):
        can_isotp_pdu(bytes.fromhex("3100FF"))
    assert decode_frame(bytes.fromhex("3100FF")).pci is Pci.WAIT


def test_can_isotp_takes_a_first_frame_below_8_bytes() -> None:
    """A first frame is never short: isotp.c of the kernel ignores it."""
    data = bytes.fromhex("1014620102")
    assert can_isotp_pdu(data).length == 0x14
    assert isinstance(decode_frame(data), Invalid)


def test_scapy_makes_nothing_of_an_fd_single_frame() -> None:
    """It reads the length from the low nibble, which is 0 above 8 bytes; can-isotp agrees with us."""
    data = bytes.fromhex("000A22F190F191F192F193F1")
    frame = Frame(0, "can0", 0x7E0, FrameFlag.FD, len(data), data, 1, 0)
    assert list(scapy_messages([frame], has_address=False)) == [b""]
    pdu = decode_frame(data)
    assert isinstance(pdu, SingleFrame) and pdu.data == bytes(can_isotp_pdu(data).data) == data[2:]


def test_scapy_does_not_let_a_single_frame_break_a_running_message() -> None:
    """A receiver drops the open message (ISO 15765-2:2016, 9.8.3 (M)); scapy delivers both."""
    rows = ["100A62F190313233", "037F2231", "2134353637"]
    frames = [
        Frame(n * 10**6, "can0", 0x7E8, FrameFlag(0), len(r) // 2, bytes.fromhex(r), n, 0)
        for n, r in enumerate(rows, 1)
    ]
    assert len(list(scapy_messages(frames, has_address=False))) == 2
    messages = Reassembler([parse_link("7E0>7E8")]).feed(table_of(frames))
    assert [(m.complete, m.reason) for m in messages] == [(False, "cut-off-by-single"), (True, "")]


@pytest.mark.parametrize("library", ["can-isotp", "scapy"])
def test_a_repeated_consecutive_frame_is_lost_or_hidden_by_the_libraries(library: str) -> None:
    """can-isotp drops the message, scapy the repetition without a word; a listener keeps both facts."""
    rows = ["101462F190314D38", "2147444D3941584B", "2147444D3941584B", "2250303432373838"]
    frames = [Frame(n * 10**6, "can0", 0x7E8, FrameFlag(0), 8, bytes.fromhex(r), n, 0) for n, r in enumerate(rows, 1)]
    if library == "can-isotp":
        queue = deque(isotp.CanMessage(arbitration_id=0x7E8, data=frame.data) for frame in frames)
        errors: list[Exception] = []
        layer = isotp.TransportLayerLogic(
            rxfn=lambda _timeout: queue.popleft() if queue else None, txfn=lambda _message: None,
            address=NORMAL.tester, error_handler=errors.append, params={"listen_mode": True},
        )  # fmt: skip
        while queue:
            layer.process()
        assert not layer.available() and any(isinstance(e, isotp.WrongSequenceNumberError) for e in errors)
    else:
        assert len(list(scapy_messages(frames, has_address=False))) == 1
    (message,) = Reassembler([parse_link("7E0>7E8")]).feed(table_of(frames))
    assert message.complete and message.data[3:] == b"1M8GDM9AXKP042788"
    assert sorted(a.rule for a in message.anomalies) == ["flow-control-not-seen", "repeated-consecutive-frame"]
