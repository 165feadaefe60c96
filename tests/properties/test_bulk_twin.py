"""The column twin of the reassembly gives what the readable state machine gives, in every field and in order.

The sessions are ours (seeded); what is compared are two implementations of ISO 15765-2, so no outside source is
needed here. Outside sources check the readable one, in tests/oracles.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canlog.frames import Frame, FrameFlag, FrameTable, table_of
from canlog.isotp.addressing import parse_link
from canlog.isotp.bulk import BulkReassembler
from canlog.isotp.messages import Anomaly, Message, Repeated
from canlog.isotp.pci import FD_SIZES
from canlog.isotp.reassembly import Reassembler
from canlog.read import read_capture, survey_links

FIXTURES = Path(__file__).parents[2] / "fixtures"

#: Two links of one channel, one on any channel, 29 bit, address bytes (two modules behind one tester id), a group,
#: a link that shares its request id with another, and a link of one id with itself.
LINKS = (
    "can0:7E0>7E8", "7E1>7E9", "18DA2AF1>18DAF12A", "6F1.1A>61A.F1", "6F1.1B>61B.F1", "7DF>", "7E1>7EA", "700>700",
)  # fmt: skip

Result = tuple[list[list[Message]], tuple[Anomaly, ...], tuple[Repeated, ...]]


def run(reassembler: Reassembler, tables: Sequence[FrameTable]) -> Result:
    """What each table delivered, and the end; the strays, and what came again and again."""
    fed = [list(reassembler.feed(table)) for table in tables]
    last = tables[-1]
    end = (int(last.time_ns[-1]), int(last.line[-1])) if len(last) else (0, 0)
    return [*fed, list(reassembler.finish(*end))], reassembler.strays, reassembler.repeats


def assert_twins(tables: Sequence[FrameTable], links: Iterable[str] = LINKS) -> Result:
    parsed = [parse_link(key) for key in links]
    readable = run(Reassembler(parsed), tables)
    bulk = run(BulkReassembler(parsed), tables)
    assert bulk == readable
    return bulk


# -- traffic -------------------------------------------------------------------------------------------


class Talk:
    """One link's conversation as data bytes by id, without times."""

    def __init__(self, rnd: random.Random, key: str) -> None:
        self.rnd = rnd
        self.link = parse_link(key)
        self.channel = self.link.channel or "can1"
        self.is_fd = rnd.random() < 0.3
        self.size = rnd.choice(sorted(FD_SIZES)) if self.is_fd else 8
        self.block = rnd.choice([0, 0, 1, 2, 3, 8])
        self.padding = rnd.choice([None, 0xCC])
        self.frames: list[tuple[bool, bytes]] = []  # from the tester?, data

    def put(self, is_request: bool, data: bytes) -> None:
        address = self.link.request_address if is_request else self.link.response_address
        whole = data if address is None else bytes([address]) + data
        sizes = sorted(FD_SIZES) if len(whole) > 8 else [8] if self.padding is not None else [len(whole)]
        whole = whole.ljust(next(size for size in sizes if size >= len(whole)), bytes([self.padding or 0x55]))
        self.frames.append((is_request, whole))

    def flow(self, is_request: bool) -> None:
        wait = self.rnd.random() < 0.01
        separation = self.rnd.choice([0, 0, 5, 0xF3]) if self.rnd.random() < 0.99 else 0x80
        self.put(is_request, bytes([0x31 if wait else 0x30, self.block, separation]))
        if wait:
            self.flow(is_request)

    def message(self, is_request: bool, data: bytes) -> None:
        at = int((self.link.request_address if is_request else self.link.response_address) is not None)
        if len(data) <= 7 - at:
            self.put(is_request, bytes([len(data)]) + data)
            return
        if len(data) <= self.size - 2 - at and self.size > 8:
            self.put(is_request, bytes([0, len(data)]) + data)
            return
        head = (
            bytes([0x10 | len(data) >> 8, len(data) & 0xFF]) if len(data) < 4096 else b"\x10\0" + len(data).to_bytes(4)
        )
        first = self.size - at - len(head)
        self.put(is_request, head + data[:first])
        self.flow(not is_request)
        pieces = range(first, len(data), self.size - 1 - at)
        for number, start in enumerate(pieces, start=1):
            self.put(is_request, bytes([0x20 | number & 15]) + data[start : start + self.size - 1 - at])
            if self.block and number % self.block == 0 and number < len(pieces):
                self.flow(not is_request)

    def speak(self, n_messages: int) -> None:
        for number in range(n_messages):
            sizes = [1, 3, 6, 7, 8, 13, 20, self.rnd.randrange(1, 130), self.rnd.randrange(1, 400)]
            data = self.rnd.randbytes(self.rnd.choice(sizes) if self.rnd.random() > 0.005 else 4200)
            is_long = len(data) > 6
            self.message(number % 2 == 0 or (self.link.functional and not is_long), data)


def traffic(rnd: random.Random, *, clock: str = "") -> list[Frame]:
    """Conversations of some links and background, woven into one another; each link's own order is kept."""
    talks = [Talk(rnd, key) for key in rnd.sample(LINKS, rnd.randrange(1, len(LINKS)))]
    for talk in talks:
        talk.speak(rnd.randrange(1, 9))
    queues = [(talk, list(reversed(talk.frames))) for talk in talks]
    clock = clock or rnd.choice(["steady", "steady", "fast", "none", "late"])
    frames: list[Frame] = []
    now = 0
    stay = rnd.choice([0.0, 0.5, 0.95])
    talk, queue = rnd.choice(queues)
    while any(left for _, left in queues):
        if not queue or rnd.random() > stay:
            talk, queue = rnd.choice([pair for pair in queues if pair[1]])
        is_request, data = queue.pop()
        now += {"steady": 300_000, "fast": rnd.choice([0, 90_000]), "none": 0, "late": 300_000}[clock]
        if clock != "none" and rnd.random() < 0.003:
            now += rnd.choice([20_000_000, 999_999_999, 1_000_000_000, 3_000_000_000])
        link = talk.link
        can_id = link.request_id if is_request or link.response_id is None else link.response_id
        is_extended = can_id > 0x7FF
        flags = FrameFlag.EXTENDED if is_extended else FrameFlag(0)
        stamp = 0 if clock == "late" and len(frames) < 40 else now
        frames.append(Frame(stamp, talk.channel, can_id, flags, len(data), data, 0, 0))
        if rnd.random() < 0.1:
            frames.append(frames[-1]._replace(can_id=rnd.choice([0x100, 0x7E2]), flags=FrameFlag(0)))
    return frames


# -- faults --------------------------------------------------------------------------------------------


def lose(frames: list[Frame], row: int, rnd: random.Random) -> None:
    del frames[row : row + rnd.choice([1, 1, 2, 16])]


def double(frames: list[Frame], row: int, rnd: random.Random) -> None:
    frames.insert(row + 1, frames[row]._replace(time_ns=frames[row].time_ns + rnd.choice([0, 100_000, 250_000])))


def double_everything(frames: list[Frame], row: int, rnd: random.Random) -> None:
    later = rnd.choice([0, 40_000])
    frames[:] = [f._replace(time_ns=f.time_ns + shift) for f in frames for shift in (0, later)]


def stutter(frames: list[Frame], row: int, rnd: random.Random) -> None:
    """One frame is sent again and again, perhaps with error frames; sometimes another frame gets in between."""
    one, step = frames[row], rnd.choice([0, 130_000, 250_000, 250_000, 1_999_999, 2_000_000])
    again = [one._replace(time_ns=one.time_ns + step * n) for n in range(1, rnd.choice([2, 18, 19, 20, 40]))]
    if rnd.random() < 0.5:
        error = one._replace(can_id=0x20, flags=FrameFlag.ERROR)
        again = [frame for one in again for frame in (error._replace(time_ns=one.time_ns), one)]
    if rnd.random() < 0.3 and again:
        at = rnd.randrange(len(again))
        again.insert(at, again[at]._replace(can_id=0x123, channel=rnd.choice(["can0", "can1", "can2"])))
    later = (len(again) + 1) * step
    rest = [frame._replace(time_ns=frame.time_ns + later) for frame in frames[row + 1 :]]
    frames[row + 1 :] = [*again, *rest]


def swap(frames: list[Frame], row: int, rnd: random.Random) -> None:
    other = min(row + rnd.choice([1, 1, 2, 3]), len(frames) - 1)
    frames[row], frames[other] = frames[other], frames[row]


def swap_between_stamps(frames: list[Frame], row: int, rnd: random.Random) -> None:
    other = min(row + rnd.choice([1, 1, 2, 3]), len(frames) - 1)
    one, two = frames[row], frames[other]
    frames[row], frames[other] = two._replace(time_ns=one.time_ns), one._replace(time_ns=two.time_ns)


def alter(frames: list[Frame], row: int, rnd: random.Random) -> None:
    """One of the first bytes changes."""
    data = bytearray(frames[row].data)
    if data:
        data[rnd.randrange(min(len(data), 4))] = rnd.randrange(256)
    frames[row] = frames[row]._replace(data=bytes(data))


def shorten(frames: list[Frame], row: int, rnd: random.Random) -> None:
    data = frames[row].data[: rnd.randrange(len(frames[row].data) + 1)]
    frames[row] = frames[row]._replace(data=data, length=len(data))


def lengthen(frames: list[Frame], row: int, rnd: random.Random) -> None:
    data = (frames[row].data + rnd.randbytes(64))[: rnd.choice([8, 12, 64, 70])]
    frames[row] = frames[row]._replace(data=data, length=len(data))


def retime(frames: list[Frame], row: int, rnd: random.Random) -> None:
    by = rnd.choice([-2_000_000_000, -2_000_000, -1, 2_000_000, 2_000_000_000])
    for place in range(row, min(len(frames), row + rnd.choice([1, 1, 50]))):
        frames[place] = frames[place]._replace(time_ns=frames[place].time_ns + by)


def put_in(frames: list[Frame], row: int, rnd: random.Random) -> None:
    """A frame of any kind on the same id."""
    data = rnd.choice(
        [b"\x02\x3e\x00", b"\x30\x00\x00", b"\x31\x00\x00", b"\x32\x00\x00", b"\x37\x00\x00", b"\x10\x09\1\2\3\4\5\6",
         b"\x10\x00\x00\x00\x00\x20\x01\x02", b"\x22\1\2\3\4\5\6\7", b"\x40", b"", b"\0\3\1\2\3\0\0\0\0\0\0\0",
         rnd.randbytes(8)]
    )  # fmt: skip
    link_bytes = frames[row].data[:1] if frames[row].can_id in (0x6F1, 0x61A, 0x61B) else b""
    frames.insert(row, frames[row]._replace(data=link_bytes + data, length=len(link_bytes + data)))


def not_data(frames: list[Frame], row: int, rnd: random.Random) -> None:
    if rnd.random() < 0.5:
        frames[row] = frames[row]._replace(flags=frames[row].flags | FrameFlag.ERROR)
    else:
        frames[row] = frames[row]._replace(flags=frames[row].flags | FrameFlag.REMOTE, data=b"")


def cut(frames: list[Frame], row: int, rnd: random.Random) -> None:
    del frames[:row]


def move_channel(frames: list[Frame], row: int, rnd: random.Random) -> None:
    frames[row:] = [frame._replace(channel="can2") for frame in frames[row:]]


FAULTS = [
    lose, double, double_everything, stutter, swap, swap_between_stamps, alter, shorten, lengthen, retime, put_in,
    not_data, cut, move_channel,
]  # fmt: skip


def tables_of(frames: Sequence[Frame], borders: Iterable[int] = ()) -> list[FrameTable]:
    """The frames, numbered, as tables cut at some borders; channel codes as a reader gives them."""
    numbered = [frame._replace(line=2 * line, position=50 * line) for line, frame in enumerate(frames, start=1)]
    edges = [0, *sorted(borders), len(frames)]
    seen: dict[str, None] = {}
    tables = []
    for begin, end in pairwise(edges):
        seen |= dict.fromkeys(frame.channel for frame in numbered[begin:end])
        tables.append(table_of(numbered[begin:end], channels=tuple(seen)))
    return tables


# -- tests ---------------------------------------------------------------------------------------------


@given(seed=st.integers(0, 2**32))
def test_clean_traffic_of_several_links_is_the_same_to_both(seed: int) -> None:
    assert_twins(tables_of(traffic(random.Random(seed))))


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.__name__)
@settings(max_examples=40)
@given(seed=st.integers(0, 2**32))
def test_one_kind_of_fault_is_the_same_to_both(
    fault: Callable[[list[Frame], int, random.Random], None], seed: int
) -> None:
    rnd = random.Random(seed)
    frames = traffic(rnd)
    for _ in range(1 if fault in (double_everything, cut) else rnd.randrange(1, 5)):
        if frames:
            fault(frames, rnd.randrange(len(frames)), rnd)
    assert_twins(tables_of(frames))


@settings(max_examples=200)
@given(seed=st.integers(0, 2**32))
def test_any_faults_and_any_chunks_are_the_same_to_both(seed: int) -> None:
    rnd = random.Random(seed)
    frames = traffic(rnd)
    for _ in range(rnd.randrange(0, 12)):
        if frames:
            rnd.choice(FAULTS)(frames, rnd.randrange(len(frames)), rnd)
    assert_twins(tables_of(frames, rnd.choices(range(len(frames) + 1), k=rnd.randrange(6))))


@pytest.mark.parametrize("seed", range(3))
def test_a_border_anywhere_is_the_same_to_both(seed: int) -> None:
    frames = traffic(random.Random(seed))[:250]
    for border in range(len(frames) + 1):
        assert_twins(tables_of(frames, [border]))


@pytest.mark.parametrize("seed", range(3))
def test_one_frame_a_table_is_the_same_to_both(seed: int) -> None:
    frames = traffic(random.Random(seed))[:250]
    assert_twins(tables_of(frames, range(1, len(frames))))


def test_frames_without_lines_of_their_own_are_the_same_to_both() -> None:
    rnd = random.Random(1)
    frames = traffic(rnd)
    for _ in range(10):
        retime(frames, rnd.randrange(len(frames)), rnd)
    assert_twins([table_of(frames)])


def test_clean_traffic_never_reaches_the_state_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    talk = Talk(random.Random(3), "can0:7E0>7E8")
    talk.size, talk.padding, talk.block = 8, 0xCC, 3
    for size in (3, 20, 7, 200, 8, 4000):
        talk.put(True, bytes([1, size & 0xFF]))
        head = bytes([0x10 | size >> 8, size & 0xFF]) if size > 7 else bytes([size])
        pieces = range(6, size, 7) if size > 7 else range(0)
        talk.put(False, head + bytes(min(size, 6)))
        for number, _start in enumerate(pieces):
            if number % 3 == 0:
                talk.put(True, b"\x30\x03\x00")
            talk.put(False, bytes([0x20 | number + 1 & 15]) + bytes(7))
    frames = [
        Frame(300_000 * n, "can0", 0x7E0 if is_request else 0x7E8, FrameFlag(0), 8, data, n, 0)
        for n, (is_request, data) in enumerate(talk.frames, start=1)
    ]
    table = table_of(frames)
    expected = Reassembler([parse_link("7E0>7E8")]).feed(table)

    def no_step(*_: object, **__: object) -> None:
        raise AssertionError("a frame of a clean message went through the state machine")

    monkeypatch.setattr("canlog.isotp.reassembly.Side.take", no_step)
    assert list(BulkReassembler([parse_link("7E0>7E8")]).feed(table)) == expected
    assert len(expected) == 12 and all(message.complete for message in expected)


@pytest.mark.parametrize("capture", sorted(FIXTURES.glob("*/capture.log")), ids=lambda path: path.parent.name)
def test_every_fixture_is_the_same_to_both(capture: Path) -> None:
    opened = read_capture(capture)
    surveyed, links = survey_links(opened)
    tables = list(surveyed.frames(opened))
    every_second = [table.take(np.arange(0, len(table), 2)) for table in tables]
    keys = [link.key for link in links]
    assert_twins(tables, keys)
    assert_twins(every_second, keys)
    assert_twins([table.take(table.line % 37 != 0) for table in tables], keys)


@pytest.mark.parametrize("back_ns", [0, 1, 400_000, 1_600_000, 5_000_000])
def test_a_stamp_before_the_end_of_the_message_in_front_is_told_by_both(back_ns: int) -> None:
    rows = ["7E8 10208182", "7E0 30000000", *(f"7E8 {0x20 | n:02X}010203" for n in range(1, 5)), "7E8 037F2231"]
    frames = [
        Frame(1_000_000 * n, "can0", int(row[:3], 16), FrameFlag(0), 8, bytes.fromhex(row[4:]).ljust(8, b"\0"), n, 0)
        for n, row in enumerate(rows, start=1)
    ]
    frames[-1] = frames[-1]._replace(time_ns=frames[-2].time_ns - back_ns)
    fed, *_ = assert_twins([table_of(frames)], ["7E0>7E8"])
    last = fed[0][-1]
    assert len(last.data) == 3 and [a.rule for a in last.anomalies] == ["time-runs-backwards"] * (back_ns > 0)
