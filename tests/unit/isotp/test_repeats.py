"""One frame again and again: what is counted as a frame that nobody acknowledged, and what is not."""

from __future__ import annotations

from itertools import count
from typing import NamedTuple

import pytest

from canlog.frames import Frame, FrameFlag, table_of
from canlog.isotp.addressing import Direction, parse_link
from canlog.isotp.bulk import BulkReassembler
from canlog.isotp.messages import Repeated
from canlog.isotp.reassembly import Reassembler
from canlog.isotp.repeats import FEWEST, NEXT_ATTEMPT_NS

MS = 1_000_000
LINK = parse_link("7E0>7E8")
ASKED, ANSWERED = bytes.fromhex("0322F190CCCCCCCC"), bytes.fromhex("037F2231CCCCCCCC")


class One(NamedTuple):
    can_id: int = 0x7E0
    data: bytes = ASKED
    step_ns: int = MS // 4
    channel: str = "can0"
    flags: FrameFlag = FrameFlag(0)


ERROR = One(0x20, bytes(8), 0, flags=FrameFlag.ERROR)
LAST = One(0x7E0, bytes.fromhex("023E00CCCCCCCCCC"), 10 * MS)


def runs(*frames: One, start_ns: int = MS) -> tuple[Repeated, ...]:
    """What both ways of reading find."""
    rows, now = [], start_ns
    for line, one in zip(count(1), frames, strict=False):
        now += one.step_ns
        rows.append(Frame(now, one.channel, one.can_id, one.flags, len(one.data), one.data, line, 0))
    table = table_of(rows)
    readable, columns = Reassembler([LINK]), BulkReassembler([LINK])
    readable.feed(table), columns.feed(table)
    assert readable.repeats == columns.repeats
    return columns.repeats


def test_a_frame_that_nobody_acknowledges_is_counted_with_its_lines_and_times() -> None:
    (found,) = runs(LAST, *[One()] * 50, LAST)
    assert (found.frames, found.first_line, found.last_line) == (50, 2, 51)
    assert (found.link.key, found.direction) == ("can0:7E0>7E8", Direction.REQUEST)
    assert found.end_ns - found.begin_ns == 49 * MS // 4


def test_a_run_at_the_end_of_the_capture_counts_as_well() -> None:
    assert [one.frames for one in runs(LAST, *[One()] * FEWEST)] == [FEWEST]
    assert not runs(LAST, *[One()] * (FEWEST - 1))


def test_error_frames_between_change_nothing() -> None:
    (found,) = runs(*[One(), ERROR] * 30)
    assert (found.frames, found.first_line, found.last_line) == (30, 1, 59)


@pytest.mark.parametrize(
    "between",
    [
        One(0x7E8, ANSWERED),  # the module speaks
        One(0x123, bytes(8)),  # any other node speaks: it would have acknowledged
        One(data=bytes.fromhex("0322F18CCCCCCCCC")),  # another request
        One(step_ns=NEXT_ATTEMPT_NS),  # a later retry by a program
        One(flags=FrameFlag.REMOTE),
    ],
)
def test_what_gets_in_between_begins_the_count_again(between: One) -> None:
    half = [One()] * (FEWEST - 2)
    assert not runs(*half, between, *half)


def test_a_frame_on_another_channel_is_not_between() -> None:
    half = [One()] * (FEWEST // 2)
    assert [one.frames for one in runs(*half, One(channel="can1"), *half)] == [FEWEST]


def test_equal_frames_of_an_id_without_a_link_are_not_judged() -> None:
    assert not runs(LAST, *[One(0x123)] * 50, LAST)


def test_without_a_clock_nothing_is_said() -> None:
    still = [One(step_ns=0)] * 50
    assert not runs(*still, start_ns=0)
    assert runs(*still)


def test_consecutive_frames_of_equal_bytes_are_a_message() -> None:
    message = [One(data=bytes([0x20 | n & 15]) + b"\xff" * 7) for n in range(1, 60)]
    assert not runs(*message)
