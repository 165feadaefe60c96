"""Planted faults on random sessions: what is delivered as complete is right, or says that it may not be.

What a listener cannot see, and these tests therefore let pass, is written down in :func:`is_undetectable`.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canlog.frames import Frame, FrameFlag, table_of
from canlog.isotp.addressing import Direction, parse_link
from canlog.isotp.messages import Message, Missing
from canlog.isotp.reassembly import Reassembler
from canlog.isotp.steps import REASONS, RULES

REQUEST, RESPONSE = 0x7E0, 0x7E8
FRAME_NS = 250_000


@dataclass(frozen=True)
class Sent:
    """One message and the numbers of its data frames in the session."""

    direction: Direction
    data: bytes
    rows: tuple[int, ...]


@dataclass(frozen=True)
class Session:
    frames: tuple[Frame, ...]
    sent: tuple[Sent, ...]


def session(rnd: random.Random) -> Session:
    """Requests and responses of 1 to 60 bytes in turn, many with one consecutive frame; classic frames."""
    frames: list[Frame] = []
    sent: list[Sent] = []
    now = 1_000_000_000

    def put(can_id: int, data: bytes) -> int:
        nonlocal now
        now += FRAME_NS + rnd.randrange(500_000)
        data = data.ljust(8, b"\xcc")
        frames.append(Frame(now, "can0", can_id, FrameFlag(0), 8, data, len(frames) + 1, 0))
        return len(frames) - 1

    for number in range(rnd.randrange(4, 12)):
        direction = Direction.RESPONSE if number % 2 else Direction.REQUEST
        source, other = (RESPONSE, REQUEST) if number % 2 else (REQUEST, RESPONSE)
        data = rnd.randbytes(rnd.choice([3, 7, 8, 10, 13, rnd.randrange(8, 60)]))
        now += rnd.randrange(20_000_000)
        if len(data) <= 7:
            rows = [put(source, bytes([len(data)]) + data)]
        else:
            block = rnd.choice([0, 0, 2, 3])
            rows = [put(source, bytes([0x10, len(data)]) + data[:6])]
            put(other, bytes([0x30, block, 0]))
            for piece, start in enumerate(range(6, len(data), 7), start=1):
                rows.append(put(source, bytes([0x20 | piece & 15]) + data[start : start + 7]))
                if block and piece % block == 0 and start + 7 < len(data):
                    put(other, bytes([0x30, block, 0]))
        sent.append(Sent(direction, data, tuple(rows)))
    return Session(tuple(frames), tuple(sent))


def rebuild(frames: list[Frame]) -> list[Message]:
    reassembler = Reassembler([parse_link("7E0>7E8")])
    numbered = [frame._replace(line=line) for line, frame in enumerate(frames, start=1)]
    if not numbered:
        return []
    return reassembler.feed(table_of(numbered)) + reassembler.finish(numbered[-1].time_ns, numbered[-1].line)


def drop(frames: list[Frame], rnd: random.Random) -> list[Frame]:
    lost = set(rnd.sample(range(len(frames)), min(len(frames), rnd.randrange(1, 4))))
    return [frame for row, frame in enumerate(frames) if row not in lost]


def repeat(frames: list[Frame], rnd: random.Random) -> list[Frame]:
    row = rnd.randrange(len(frames))
    later = rnd.choice([0, 50_000, 300_000])
    return [*frames[: row + 1], frames[row]._replace(time_ns=frames[row].time_ns + later), *frames[row + 1 :]]


def swap(frames: list[Frame], rnd: random.Random) -> list[Frame]:
    """Neighbours on one id change places, with their stamps."""
    first = rnd.randrange(len(frames) - 1)
    second = next((row for row in range(first + 1, len(frames)) if frames[row].can_id == frames[first].can_id), first)
    frames[first], frames[second] = frames[second], frames[first]
    return frames


def swap_between_stamps(frames: list[Frame], rnd: random.Random) -> list[Frame]:
    """The same, but the clock does not tell."""
    times = [frame.time_ns for frame in frames]
    return [frame._replace(time_ns=time_ns) for frame, time_ns in zip(swap(frames, rnd), times, strict=True)]


def alter_control(frames: list[Frame], rnd: random.Random) -> list[Frame]:
    """The control byte of a consecutive frame changes to anything."""
    rows = [row for row, frame in enumerate(frames) if frame.data[0] >> 4 == 2]
    if rows:
        row = rnd.choice(rows)
        frames[row] = frames[row]._replace(data=bytes([rnd.randrange(256)]) + frames[row].data[1:])
    return frames


def cut(frames: list[Frame], rnd: random.Random) -> list[Frame]:
    begin = rnd.randrange(len(frames))
    return frames[:begin] + frames[rnd.randrange(begin, len(frames)) :]


def cut_ends(frames: list[Frame], rnd: random.Random) -> list[Frame]:
    begin = rnd.randrange(len(frames))
    return frames[begin : rnd.randrange(begin, len(frames)) + 1]


def retime(frames: list[Frame], rnd: random.Random) -> list[Frame]:
    row = rnd.randrange(len(frames))
    by = rnd.choice([-2_000_000_000, -2_000_000, 2_000_000, 2_000_000_000])
    frames[row] = frames[row]._replace(time_ns=frames[row].time_ns + by)
    return frames


FAULTS = [drop, repeat, swap, swap_between_stamps, alter_control, cut, cut_ends, retime]


def is_doubted(message: Message) -> bool:
    return any(anomaly.rule not in RULES or not RULES[anomaly.rule].is_note for anomaly in message.anomalies)


def is_undetectable(message: Message, sent: tuple[Sent, ...]) -> bool:
    """The class of wrong messages that show nothing: the begin of one and the end of another message.

    When everything between one place of a message and the same place of a later one of the same sender is
    gone, the numbers go on and the length closes (at the second frame's padding, if need be). A changed
    payload byte, a changed length that fits the same frames, and a consistent forgery are the other members;
    these tests do not plant them.
    """
    size = message.length
    same = [s.data.ljust(size, b"\xcc")[:size] for s in sent if s.direction is message.direction]
    return any(
        message.data == head[:place] + tail[place:] for head in same for tail in same for place in range(6, size, 7)
    )


@given(seed=st.integers(0, 2**32))
def test_a_clean_session_is_rebuilt_to_the_byte(seed: int) -> None:
    clean = session(random.Random(seed))
    done = rebuild(list(clean.frames))
    assert [(m.direction, m.data, m.complete) for m in done] == [(s.direction, s.data, True) for s in clean.sent]
    assert all(not m.anomalies and not m.missing for m in done)
    assert [m.lines for m in done] == [(s.rows[0] + 1, s.rows[-1] + 1) for s in clean.sent]


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.__name__)
@given(seed=st.integers(0, 2**32))
def test_a_wrong_message_is_incomplete_or_doubted(
    fault: Callable[[list[Frame], random.Random], list[Frame]], seed: int
) -> None:
    rnd = random.Random(seed)
    clean = session(rnd)
    done = rebuild(fault(list(clean.frames), rnd))
    right = {(s.direction, s.data) for s in clean.sent}
    for message in done:
        if message.complete and (message.direction, message.data) not in right and not is_doubted(message):
            assert is_undetectable(message, clean.sent), message
        assert message.complete == (not message.reason) and not (message.complete and message.missing)
        assert message.reason == "" or message.reason in REASONS
        assert all(anomaly.rule in RULES or anomaly.rule in REASONS for anomaly in message.anomalies)


@pytest.mark.parametrize("fault", [drop, cut, cut_ends, alter_control], ids=lambda fault: fault.__name__)
@given(seed=st.integers(0, 2**32))
def test_the_gaps_are_named_and_zero(fault: Callable[[list[Frame], random.Random], list[Frame]], seed: int) -> None:
    rnd = random.Random(seed)
    for message in rebuild(fault(list(session(rnd).frames), rnd)):
        end = 0
        for start, stop in message.missing:
            assert end <= start < stop <= message.length
            assert not any(message.data[start:stop])
            end = stop
        assert len(message.data) <= message.length
        assert message.complete or message.missing or message.reason in ("starts-inside", "first-frame-missing")


@given(seed=st.integers(0, 2**32))
def test_one_lost_consecutive_frame_costs_its_own_bytes_and_no_others(seed: int) -> None:
    rnd = random.Random(seed)
    clean = session(rnd)
    long = [s for s in clean.sent if len(s.rows) > 1]
    if not long:
        return
    hurt = rnd.choice(long)
    place = rnd.randrange(1, len(hurt.rows))
    frames = [frame for row, frame in enumerate(clean.frames) if row != hurt.rows[place]]
    start = 6 + (place - 1) * 7
    gap = Missing(start, min(start + 7, len(hurt.data)))
    expected = hurt.data[: gap.start] + bytes(gap.end - gap.start) + hurt.data[gap.end :]
    done = rebuild(frames)
    broken = [message for message in done if not message.complete]
    assert len(broken) == 1 and broken[0].missing == (gap,)
    assert broken[0].data == (expected if place < len(hurt.rows) - 1 else hurt.data[:start])
    assert sorted(m.data for m in done if m.complete) == sorted(s.data for s in clean.sent if s is not hurt)


@given(seed=st.integers(0, 2**32))
def test_doubled_captures_are_rebuilt_as_if_single(seed: int) -> None:
    clean = session(random.Random(seed))
    doubled = [f._replace(time_ns=f.time_ns + later) for f in clean.frames for later in (0, 40_000)]
    assert [m.data for m in rebuild(doubled)] == [s.data for s in clean.sent]
    assert all(m.complete and not is_doubted(m) for m in rebuild(doubled))


@given(seed=st.integers(0, 2**32), junk=st.lists(st.binary(max_size=64), max_size=30))
def test_any_bytes_on_a_link_give_messages_and_strays_and_nothing_else(seed: int, junk: list[bytes]) -> None:
    rnd = random.Random(seed)
    frames = list(session(rnd).frames)
    for data in junk:
        row = rnd.randrange(len(frames))
        frames.insert(row, replace_data(frames[row], data))
    for message in rebuild(frames):
        assert replace(message, anomalies=()).complete == (message.reason == "")


def replace_data(frame: Frame, data: bytes) -> Frame:
    return frame._replace(data=data, length=len(data))
