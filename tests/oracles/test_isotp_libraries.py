"""The transport against two libraries: can-isotp 2.0.7 (MIT) and scapy 2.8.0 (GPL-2.0).

can-isotp plays both ends of a bus in memory: its encoder makes the frames, its decoder and ours read them.
scapy's message builder reads the same frames. On clean sessions all three must agree to the byte. Where an
oracle is known to be wrong, a test with its name shows the difference and says why ours stands.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Iterator

import isotp
import pytest
import scapy.contrib.isotp as scapy_isotp
import scapy.layers.can as scapy_can
from hypothesis import given, settings
from hypothesis import strategies as st
from isotp_bus import (
    ALL_ADDRESSES,
    CLASSIC,
    EXTENDED,
    FD,
    FIXED,
    NORMAL,
    Addresses,
    Bus,
    conversation,
    differences,
    ours,
)

from canlog.frames import Frame, FrameFlag, table_of
from canlog.isotp.addressing import Direction, parse_link
from canlog.isotp.links import LinkFinder
from canlog.isotp.pci import FlowControl, Invalid, Pci, SingleFrame, decode_frame
from canlog.isotp.reassembly import Reassembler


def scapy_messages(frames: list[Frame], *, has_address: bool) -> Iterator[bytes]:
    builder = scapy_isotp.ISOTPMessageBuilder(use_ext_address=has_address)
    for frame in frames:
        kind = scapy_can.CANFD if frame.flags & FrameFlag.FD else scapy_can.CAN
        flags = "extended" if frame.flags & FrameFlag.EXTENDED else 0
        builder.feed(kind(identifier=frame.can_id, flags=flags, data=frame.data))
    while (message := builder.pop()) is not None:
        yield bytes(message.data)


@pytest.mark.parametrize("addresses", ALL_ADDRESSES, ids=lambda a: a.key)
@pytest.mark.parametrize("params", CLASSIC + FD, ids=str)
@settings(max_examples=40)
@given(seed=st.integers(0, 2**32))
def test_clean_sessions_are_the_same_to_can_isotp_and_to_us(
    addresses: Addresses, params: dict[str, object], seed: int
) -> None:
    """320 sessions for each addressing; 10,000 in ``python -m tests.long_run transport --trials 10000``."""
    assert differences(addresses, params, seed) == []


@pytest.mark.parametrize("addresses", ALL_ADDRESSES, ids=lambda a: a.key)
@pytest.mark.parametrize("frame_bytes", [8, 12, 16, 20, 24, 32, 48, 64])
def test_lengths_around_every_border_are_the_same_to_can_isotp_and_to_us(
    addresses: Addresses, frame_bytes: int
) -> None:
    """Every frame size of CAN and CAN FD: the escape of the single frame, and from 4096 bytes on of the first frame."""
    bus = Bus(addresses, blocksize=0, can_fd=frame_bytes > 8, tx_data_length=frame_bytes)
    talk = [
        (Direction.REQUEST, bytes(n & 0xFF for n in range(1, size + 1)))
        for size in (*range(1, 24), *range(frame_bytes - 6, frame_bytes + 8), 4094, 4095, 4096, 4097)
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


# -- what a bus does besides, with can-isotp at both ends ------------------------------------------------


LONG = bytes(n & 0xFF for n in range(0x22, 0x22 + 60))


@pytest.mark.parametrize("addresses", ALL_ADDRESSES, ids=lambda a: a.key)
@pytest.mark.parametrize("n_waits", [1, 2, 5])
def test_wait_frames_hold_a_message_and_cost_nothing(addresses: Addresses, n_waits: int) -> None:
    """ISO 15765-2:2016, 9.6.5.2 (M). can-isotp sends on after the waits it is told to bear (``wftmax``)."""
    bus = Bus(addresses, blocksize=2, wftmax=n_waits)
    bus.waits = n_waits
    bus.send(Direction.REQUEST, LONG)
    (message,) = ours(bus.frames, addresses.key)
    assert message.complete and message.data == LONG == bus.received[0][1]
    assert len(message.flow_control_lines) > n_waits
    assert not message.anomalies


@pytest.mark.parametrize("addresses", ALL_ADDRESSES, ids=lambda a: a.key)
def test_an_overflow_is_delivered_by_nobody(addresses: Addresses) -> None:
    """ISO 15765-2:2016, 9.6.5.2 (M): the receiver has no room, the sender gives up."""
    bus = Bus(addresses, max_frame_size=20)
    bus.try_to_send(Direction.REQUEST, LONG)
    (message,) = ours(bus.frames, addresses.key)
    assert (message.complete, message.reason) == (False, "overflow")
    assert bus.received == []


def merged(*logs: list[Frame]) -> list[Frame]:
    """Several logs as one, in order of time, with lines of their own."""
    frames = sorted((frame for log in logs for frame in log), key=lambda frame: frame.time_ns)
    return [frame._replace(line=line) for line, frame in enumerate(frames, 1)]


@pytest.mark.parametrize("addresses", ALL_ADDRESSES, ids=lambda a: a.key)
def test_a_gateway_that_repeats_everything_on_another_channel_makes_a_second_link(addresses: Addresses) -> None:
    bus = Bus(addresses, blocksize=3)
    talk = conversation(random.Random(5), 200)
    for direction, data in talk:
        bus.send(direction, data)
    repeated = [frame._replace(channel="can1", time_ns=frame.time_ns + 100_000) for frame in bus.frames]
    table = table_of(merged(bus.frames, repeated))
    finder = LinkFinder()
    finder.feed(table)
    links = finder.links()
    assert {link.key for link in links} == {f"{channel}:{addresses.key}" for channel in ("can0", "can1")}
    messages = Reassembler(links).feed(table)
    for channel in ("can0", "can1"):
        assert [(m.direction, m.data) for m in messages if m.link.channel == channel] == talk
    assert all(m.complete and not m.anomalies for m in messages)


@pytest.mark.parametrize("seed", range(10))
def test_two_testers_at_once_do_not_mix(seed: int) -> None:
    """Each talks to its own module and both at the same time: frames lie between each other."""
    rnd = random.Random(seed)
    pair = rnd.sample(ALL_ADDRESSES, 2)
    buses = [Bus(addresses, blocksize=rnd.choice([0, 2])) for addresses in pair]
    talks = [conversation(rnd, 300) for _ in buses]
    for bus, talk in zip(buses, talks, strict=True):
        for direction, data in talk:
            bus.send(direction, data)
    frames = merged(*(bus.frames for bus in buses))
    messages = Reassembler([parse_link(addresses.key) for addresses in pair]).feed(table_of(frames))
    for addresses, talk in zip(pair, talks, strict=True):
        assert [(m.direction, m.data) for m in messages if m.link.key.endswith(addresses.key)] == talk
    assert all(m.complete and not m.anomalies for m in messages)
