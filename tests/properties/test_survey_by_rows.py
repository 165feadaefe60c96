"""The survey's column sums against the same rules said row by row, however the frames are cut into tables.

The rules are those of `canlog.copies` and `canlog.background`; this is their second implementation.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from itertools import chain, pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from canlog.background import (
    GAP_PERIODS,
    KEPT_GAPS,
    PERIOD_STEPS,
    SECOND_NS,
    SHORTEST_GAP_NS,
    BackgroundBuilder,
    Gap,
    frame_bits,
)
from canlog.by_id import IdCodes, first_words, frame_keys
from canlog.copies import ECHO_NS, ONE_FD_FRAME_NS, ONE_FRAME_NS, CopyFinder
from canlog.frames import Frame, FrameFlag, table_of

START = 1_700_000_000 * SECOND_NS
DIRECTION = FrameFlag.SENT | FrameFlag.RECEIVED
STEPS_NS = [
    0,
    50_000,
    150_000,
    219_999,
    220_000,
    4_000_000,
    10_000_000,
    299_000_000,
    700_000_000,
    5 * SECOND_NS,
    -10_000,
]
FLAGS = [
    FrameFlag(0), FrameFlag(0), FrameFlag.EXTENDED, FrameFlag.RECEIVED, FrameFlag.SENT, FrameFlag.ERROR,
    FrameFlag.REMOTE, FrameFlag.FD, FrameFlag.FD | FrameFlag.BRS,
]  # fmt: skip
Key = tuple[str, int, FrameFlag]


@st.composite
def any_frames(draw: st.DrawFn) -> list[Frame]:
    rows = draw(
        st.lists(
            st.tuples(
                st.sampled_from(STEPS_NS), st.sampled_from(["can0", "can0", "can1"]), st.sampled_from([1, 2, 0x7E8]),
                st.sampled_from(FLAGS), st.sampled_from([b"", b"\x01", b"\x01\x00", bytes(8), bytes(11) + b"\x01"]),
            ),
            max_size=60,
        )
    )  # fmt: skip
    frames, now = [], START
    for line, (step, channel, can_id, flags, data) in enumerate(rows, start=1):
        now += step
        data = data if flags & FrameFlag.FD else data[:8]
        length, data = len(data), b"" if flags & FrameFlag.REMOTE else data
        frames.append(Frame(now, channel, can_id, flags, length, data, line, 0))
    return frames


def cut_in(frames: list[Frame], at: int) -> list[list[Frame]]:
    return [part for part in (frames[:at], frames[at:]) if part] or [[]]


def key(frame: Frame) -> Key:
    return frame.channel, frame.can_id, frame.flags & (FrameFlag.EXTENDED | FrameFlag.ERROR)


def repeats(frame: Frame, before: Frame) -> bool:
    echo = {frame.flags & DIRECTION, before.flags & DIRECTION} == {FrameFlag.SENT, FrameFlag.RECEIVED}
    limit = ECHO_NS if echo else ONE_FD_FRAME_NS if frame.flags & FrameFlag.FD else ONE_FRAME_NS
    like = (frame.flags & ~DIRECTION, frame.length, frame.data) == (
        before.flags & ~DIRECTION,
        before.length,
        before.data,
    )
    return like and not frame.flags & FrameFlag.ERROR and 0 <= frame.time_ns - before.time_ns < limit


def copies_by_rows(frames: list[Frame]) -> list[bool]:
    last: dict[Key, tuple[Frame, bool]] = {}
    answer = []
    for frame in frames:
        before = last.get(key(frame))
        is_copy = before is not None and not before[1] and repeats(frame, before[0])
        answer.append(is_copy)
        last[key(frame)] = (frame, is_copy)
    return answer


def gaps_by_rows(frames: list[Frame]) -> tuple[Gap, ...]:
    pairs = list(pairwise(frames))
    steps = [b.time_ns - a.time_ns for a, b in pairs if b.time_ns > a.time_ns][-PERIOD_STEPS:]
    limit = max(SHORTEST_GAP_NS, GAP_PERIODS * int(np.median(steps))) if steps else SHORTEST_GAP_NS
    gaps = [Gap(a.time_ns, b.time_ns, a.line, b.line) for a, b in pairs if b.time_ns - a.time_ns > limit]
    return tuple(sorted(sorted(gaps, key=lambda gap: -gap.length_ns)[:KEPT_GAPS]))


@settings(max_examples=300)
@given(frames=any_frames(), at=st.integers(0, 60))
def test_copies_are_those_found_row_by_row(frames: list[Frame], at: int) -> None:
    finder = CopyFinder()
    found = [bool(mark) for part in cut_in(frames, at) for mark in finder.feed(table_of(part, ["can0", "can1"]))]
    assert found == copies_by_rows(frames)


@settings(max_examples=300)
@given(frames=any_frames(), at=st.integers(0, 60))
def test_the_background_is_the_one_counted_row_by_row(frames: list[Frame], at: int) -> None:
    builder = BackgroundBuilder()
    for part in cut_in(frames, at):
        builder.feed(table_of(part, ["can0", "can1"]))
    table = builder.finish()
    of_id: dict[tuple[str, int, bool], list[Frame]] = defaultdict(list)
    for frame in frames:
        if not frame.flags & FrameFlag.ERROR:
            of_id[frame.channel, frame.can_id, bool(frame.flags & FrameFlag.EXTENDED)].append(frame)
    assert table.ids() == tuple(sorted(of_id))
    for each in table.traffic:
        own = of_id[each.channel, each.can_id, each.extended]
        times = [frame.time_ns for frame in own]
        assert (each.frames, each.first_ns, each.last_ns) == (len(own), min(times), max(times))
        assert (each.first_line, each.last_line) == (own[0].line, own[-1].line)
        assert each.gaps == gaps_by_rows(own)
        seconds = Counter(time_ns // SECOND_NS for time_ns in times)
        assert dict(zip(each.seconds.tolist(), each.counts.tolist(), strict=True)) == seconds
        assert each.seconds.tolist() == sorted(seconds)
    bits: dict[str, Counter[int]] = {}
    for frame in frames:
        if not frame.flags & FrameFlag.ERROR:
            add = bits.setdefault(frame.channel, Counter())
            add[frame.time_ns // SECOND_NS] += int(frame_bits(table_of([frame]))[0])
    assert {name: dict(zip(*map(np.ndarray.tolist, sums), strict=True)) for name, sums in table.bits.items()} == bits


@given(frames=any_frames())
def test_the_order_by_id_is_a_stable_sort(frames: list[Frame]) -> None:
    codes = IdCodes()
    for _ in range(2):
        table = table_of(frames)
        by_id = codes.sort(table)
        keys = frame_keys(table)
        seen = [by_id.order[start:end].tolist() for _, start, end in by_id.groups()]
        assert sorted(chain.from_iterable(seen)) == list(range(len(frames)))
        assert all(rows == sorted(rows) and len(set(keys[rows].tolist())) == 1 for rows in seen)
        assert len(seen) == len(codes) == len(set(keys.tolist()))


def test_ids_that_share_a_place_in_the_hash_table_stay_apart() -> None:
    frames = [Frame(START, "can0", can_id, FrameFlag.EXTENDED, 0, b"", 1, 0) for can_id in range(0, 1 << 20, 13)]
    codes = IdCodes()
    first = codes.sort(table_of(frames))
    assert len(codes) == len(frames) > 1 << 16
    assert first.codes.tolist() == codes.sort(table_of(frames)).codes.tolist() == list(range(len(frames)))


@given(frames=any_frames())
def test_first_words_are_the_first_eight_bytes(frames: list[Frame]) -> None:
    table = table_of(frames)
    assert first_words(table).tolist() == [int.from_bytes(frame.data[:8], "little") for frame in table]
