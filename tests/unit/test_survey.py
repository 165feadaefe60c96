"""The first pass: what a capture is, what can be trusted, and who else was on the bus."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import pytest

from canlog.background import KEPT_GAPS, RARE_FRAMES, BackgroundBuilder, BackgroundTable
from canlog.capture import lines
from canlog.capture.capture import Capture
from canlog.copies import CopyFinder, without_copies
from canlog.frames import Frame, FrameFlag, FrameTable, TimeKind, table_of
from canlog.read import read_capture, rebuild
from canlog.survey import Survey, survey

MS = 1_000_000
NO_FLAGS = FrameFlag(0)
START = 1_700_000_000_000 * MS
Write = Callable[[str], Capture]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def written(text: str) -> Capture:
        path = tmp_path / "capture.log"
        path.write_text(text)
        return read_capture(path)

    return written


def line(ms: float, frame: str, channel: str = "can0") -> str:
    us = START // 1000 + round(ms * 1000)
    return f"({us // 10**6}.{us % 10**6:06d}) {channel} {frame}\n"


def cyclic(period_ms: int, until_ms: int, frame: str, start_ms: int = 0) -> list[tuple[float, str]]:
    return [(at, frame) for at in range(start_ms, until_ms, period_ms)]


def text_of(*parts: Iterable[tuple[float, str]]) -> str:
    return "".join(line(at, frame) for at, frame in sorted(item for part in parts for item in part))


def surveyed(write: Write, *parts: Iterable[tuple[float, str]], keep_ids: Iterable[int] = ()) -> Survey:
    return survey(write(text_of(*parts)), keep_ids=tuple(keep_ids))


# --- summary


def test_the_summary_counts_frames_channels_lines_and_time(write: Write) -> None:
    summary = survey(write(line(0, "123#00") + "noise\n" + line(1500, "7E8#00", "can1") + line(10, "123#01"))).summary
    assert (summary.frames, summary.channels, summary.lines) == (3, ("can0", "can1"), 4)
    assert (summary.first_time_ns, summary.last_time_ns) == (START, START + 1500 * MS)
    assert summary.time_kind is TimeKind.ABSOLUTE
    assert summary.damaged_line_numbers.tolist() == [2] and summary.damaged_examples[0].text == "noise"


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("(1700000000.000000) can0 123#\n(1700000001.000000) can0 123#\n", TimeKind.ABSOLUTE),
        ("(000.000000) can0 123#\n(001.000000) can0 123#\n", TimeKind.RELATIVE),
        ("(0.000000) can0 123#\n(0.000000) can0 123#\n", TimeKind.NONE),
        ("can0 123#\ncan0 123#\n", TimeKind.NONE),
        ("  can0  123   [0]\n", TimeKind.NONE),
        (" (2024-03-05 10:11:12.123456)  can0  123   [0]\n", TimeKind.RELATIVE),
    ],
)
def test_the_kind_of_time_is_told(write: Write, text: str, kind: TimeKind) -> None:
    summary = survey(write(text)).summary
    assert summary.time_kind is kind
    assert (summary.first_time_ns is None) == (summary.last_time_ns is None) == (kind is TimeKind.NONE)


def test_only_ten_examples_of_damage_are_kept_but_all_line_numbers(write: Write) -> None:
    summary = survey(write(line(0, "123#00") + "noise\n" * 50)).summary
    assert (summary.damaged_lines, len(summary.damaged_examples)) == (50, 10)
    assert summary.damaged_line_numbers.tolist() == list(range(2, 52))


def test_ids_with_needless_zeros_are_noted(write: Write) -> None:
    assert "11-bit" in survey(write(line(0, "000007E0#00"))).summary.notes[0]
    assert not survey(write(line(0, "000007E0#00") + line(1, "18DAF110#00"))).summary.notes
    assert not survey(write(line(0, "7E0#00"))).summary.notes


def test_lost_frames_are_counted_from_the_loggers_line_and_from_receive_overflows(write: Write) -> None:
    drop = "DROPCOUNT: dropped 12 CAN frames on 'can0' socket (total drops 12)\n"
    text = line(0, "123#00") + drop + line(1, "20000004#0001000000000000") + line(2, "20000004#0004000000000000")
    summary = survey(write(text)).summary
    assert [(marker.line, marker.frames) for marker in summary.drops] == [(2, 12), (3, 0)]
    assert summary.logger_drops == 13
    assert (summary.error_frames, summary.error_lines.tolist()) == (2, [3, 4])
    assert summary.error_times_ns.tolist() == [START + MS, START + 2 * MS]


def test_disorder_between_channels_is_harmless_and_within_one_is_a_clock_step(write: Write) -> None:
    merged = line(10, "123#00") + line(9, "123#00", "can1") + line(11, "123#00") + line(10, "123#00", "can1")
    assert survey(write(merged)).summary.out_of_order == 0
    summary = survey(write(merged + line(8, "123#00"))).summary
    assert summary.out_of_order == 1
    (step,) = summary.clock_steps
    assert (step.line, step.channel, step.size_ns) == (5, "can0", 3 * MS)


def test_a_clock_step_between_two_tables_is_found(write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lines, "CHUNK_FRAMES", 1)
    monkeypatch.setattr("canlog.capture.source.BLOCK_BYTES", 64)
    monkeypatch.setattr(lines, "HEADS_BYTES", (64, 64))
    capture = write("".join(line(at, "123#00") for at in (0, 1, 2, 3, 4, 5, 6, 2, 8)))
    assert len(list(capture.chunks())) > 3
    assert [step.line for step in survey(capture).summary.clock_steps] == [8]


# --- copies

MESSAGE = ["7E0#0210030000000000", "7E8#065003003201F400", "7E0#0322F19000000000", "7E8#101462F190414243",
           "7E0#3000000000000000", "7E8#2144454647484950", "7E8#2251525354555657"]  # fmt: skip


def doubled_text(delay_ms: float, marks: tuple[str, str] = ("", "")) -> str:
    frames = [(at * 5, frame) for at, frame in enumerate(MESSAGE * 3)]
    return "".join(line(at, frame + marks[0]) + line(at + delay_ms, frame + marks[1]) for at, frame in frames)


@pytest.mark.parametrize(("delay_ms", "marks"), [(0, ("", "")), (0.05, ("", "")), (0.2, ("", "")), (0.9, (" T", " R"))])
def test_a_capture_in_which_every_frame_stands_twice_is_rebuilt_as_if_it_stood_once(
    write: Write, delay_ms: float, marks: tuple[str, str]
) -> None:
    capture = write(doubled_text(delay_ms, marks))
    found = survey(capture)
    assert found.summary.doubled == 1 and found.summary.is_doubled and not len(found.summary.repeated_lines)
    assert sum(map(len, found.frames(capture))) == len(MESSAGE) * 3
    messages = rebuild(capture)
    assert [message.data.hex() for message in messages if message.length == 20] == [
        "62f1904142434445464748495051525354555657"
    ] * 3
    assert all(message.complete and not message.anomalies for message in messages)


def test_copies_that_come_in_batches_are_found_per_id() -> None:
    order = "A B C A B C D D"
    frames = [frame(at // 6, can_id=0x100 + ord(name), data=b"\x01") for at, name in enumerate(order.split())]
    assert CopyFinder().feed(table_of(frames)).tolist() == [False] * 3 + [True] * 3 + [False, True]


def test_four_equal_frames_at_once_are_two_frames_each_twice() -> None:
    assert CopyFinder().feed(table_of([frame(0)] * 4)).tolist() == [False, True, False, True]


@pytest.mark.parametrize("cut", range(1, 6))
def test_a_copy_in_the_next_table_is_found(cut: int) -> None:
    frames = [frame(at // 2 * 10, data=bytes([at // 2])) for at in range(6)]
    finder = CopyFinder()
    found = [*finder.feed(table_of(frames[:cut])), *finder.feed(table_of(frames[cut:]))]
    assert found == [False, True] * 3


DIFFERENT = [
    {"at_us": 230},
    {"data": b"\x02"},
    {"data": b"\x01\x00", "length": 2},
    {"can_id": 0x101},
    {"channel": "can1"},
    {"flags": FrameFlag.EXTENDED},
    {"flags": FrameFlag.REMOTE, "data": b""},
    {"at_us": -10},
]


@pytest.mark.parametrize("change", DIFFERENT, ids=str)
def test_a_frame_that_differs_in_anything_is_no_copy(change: dict[str, object]) -> None:
    change = dict(change)
    at_us = change.pop("at_us", 10)
    second = frame(0, data=b"\x01")._replace(time_ns=START + int(str(at_us)) * 1000, **change)  # type: ignore[arg-type]
    assert not CopyFinder().feed(table_of([frame(0, data=b"\x01"), second])).any()


def test_long_can_fd_frames_are_compared_to_the_last_byte() -> None:
    fd = [frame(at, data=bytes(20) + bytes([at]), flags=FrameFlag.FD)._replace(time_ns=START + at) for at in (0, 1, 1)]
    assert CopyFinder().feed(table_of([*fd[:2], fd[2]])).tolist() == [False, False, True]


def test_without_times_nothing_can_be_called_a_copy() -> None:
    assert not CopyFinder().feed(table_of([frame(0)._replace(time_ns=0)] * 4)).any()


def test_error_frames_are_never_copies() -> None:
    assert not CopyFinder().feed(table_of([frame(0, flags=FrameFlag.ERROR)] * 4)).any()


def test_an_isolated_repeat_is_listed_and_stays(write: Write) -> None:
    text = text_of(cyclic(10, 1000, "123#0011")) + line(1000, "7E8#037F2278") + line(1000.1, "7E8#037F2278")
    capture = write(text)
    found = survey(capture)
    assert (found.summary.repeats, found.summary.repeated_lines.tolist()) == (1, [102])
    assert not found.summary.is_doubled
    assert sum(map(len, found.frames(capture))) == 102


def test_dropping_copies_keeps_what_else_belongs_to_the_table(write: Write) -> None:
    capture = write(doubled_text(0) + "noise\n")
    (table,) = without_copies(capture.chunks())
    assert len(table.bad_lines) == 1 and table.lines_read == 43


def test_who_watches_the_pass_sees_each_frame_of_a_doubled_capture_once(write: Write) -> None:
    seen: list[FrameTable] = []
    survey(write(doubled_text(0)), feed=seen.append)
    assert sum(map(len, seen)) == len(MESSAGE) * 3


# --- background


def frame(
    ms: float, *, can_id: int = 0x100, data: bytes = b"\x01\x02", flags: FrameFlag = NO_FLAGS, line: int = 1
) -> Frame:
    return Frame(START + round(ms * MS), "can0", can_id, flags, len(data), data, line, 0)


def background(*tables: list[Frame], keep_ids: Iterable[int] = ()) -> BackgroundTable:
    builder = BackgroundBuilder(tuple(keep_ids))
    for frames in tables:
        builder.feed(table_of(frames, ["can0"]))
    return builder.finish()


def test_an_id_that_stops_and_returns_shows_as_a_gap_with_its_lines(write: Write) -> None:
    speaking = cyclic(10, 1000, "123#0011") + cyclic(10, 4000, "123#0011", 3000)
    table = surveyed(write, speaking, cyclic(100, 4000, "200#00")).background
    (gap,) = table.gaps(0x123)
    assert (gap.from_ns, gap.to_ns, gap.length_ns) == (START + 990 * MS, START + 3000 * MS, 2010 * MS)
    traffic = table.of("can0", 0x123)
    assert traffic is not None and traffic.frames == 200
    assert gap.from_line < gap.to_line
    assert traffic.period_ns == 10 * MS
    assert not table.gaps(0x200)
    assert table.per_second("can0", 0x123).tolist() == [100, 0, 0, 100]
    assert table.per_second("can0", 0x777).tolist() == [0, 0, 0, 0]


@pytest.mark.parametrize(
    ("period_ms", "pause_ms", "is_gap"), [(10, 299, False), (10, 301, True), (100, 499, False), (100, 501, True)]
)
def test_a_pause_is_a_gap_when_it_is_long_for_everyone_and_for_this_id(
    write: Write, period_ms: int, pause_ms: int, is_gap: bool
) -> None:
    first = cyclic(period_ms, 3000, "123#00")
    again = cyclic(period_ms, 6000, "123#00", int(first[-1][0]) + pause_ms)
    assert len(surveyed(write, first, again).background.gaps(0x123)) == is_gap


def test_a_gap_between_two_tables_is_found() -> None:
    frames = [frame(at, line=at + 1) for at in range(0, 100, 10)]
    later = [frame(at, line=at + 1) for at in range(2000, 2100, 10)]
    (gap,) = background(frames, later).gaps(0x100)
    assert (gap.from_line, gap.to_line) == (91, 2001)


def test_only_the_longest_gaps_are_kept_in_order_of_time() -> None:
    rng = np.random.default_rng(1)
    pauses = rng.permutation(np.arange(100)) * 10 + 1000
    times = np.concatenate([start + np.arange(20) for start in np.cumsum(pauses + 20)])
    gaps = background([frame(float(at)) for at in times]).gaps(0x100)
    assert len(gaps) == KEPT_GAPS and list(gaps) == sorted(gaps)
    assert min(gap.length_ns for gap in gaps) // MS == sorted(pauses[1:])[-KEPT_GAPS] + 1


def test_the_last_sign_of_life_of_everyone_else(write: Write) -> None:
    table = surveyed(write, cyclic(10, 1000, "123#00"), [(2000, "7E0#00"), (2500, "7E8#00")]).background
    assert table.last_time() == START + 2500 * MS
    assert table.last_time(exclude=(0x7E0, 0x7E8)) == START + 990 * MS
    assert table.last_time(exclude=(0x7E0, 0x7E8, 0x123)) is None
    assert table.last_time(channel="can9") is None


def test_whole_frames_are_kept_of_rare_ids_and_of_ids_asked_for(write: Write) -> None:
    parts = (
        cyclic(10, 1000, "123#0011"),
        cyclic(10, 1000, "124#00"),
        [(at * 40.5, "7DF#013E") for at in range(RARE_FRAMES)],
    )
    table = surveyed(write, *parts, keep_ids=[0x123]).background
    assert len(table.frames_of(0x123)) == 100
    assert table.frames_of(0x124) == ()
    rare = table.frames_of(0x7DF)
    assert len(rare) == RARE_FRAMES and {item.data for item in rare} == {b"\x01\x3e"}
    assert [item.line for item in rare] == sorted(item.line for item in rare)


def test_a_rare_id_that_becomes_common_is_let_go() -> None:
    tables = [[frame(at + 100 * part) for at in range(RARE_FRAMES)] for part in range(2)]
    assert background(tables[0]).frames_of(0x100)
    assert not background(*tables).frames_of(0x100)


def test_an_id_asked_for_is_thinned_rather_than_filling_the_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("canlog.background.KEPT_FRAMES", 100)
    table = background(*([frame(at + 50 * part) for at in range(50)] for part in range(10)), keep_ids=[0x100])
    kept = table.frames_of(0x100)
    assert 50 <= len(kept) <= 100 and table.thinned == {("can0", 0x100, False)}
    assert kept[0].time_ns == START and kept[-1].time_ns >= START + 480 * MS


def test_the_same_id_with_11_and_29_bits_and_on_two_channels_is_three_ids(write: Write) -> None:
    table = survey(write(line(0, "123#00") + line(1, "00000123#00") + line(2, "123#00", "can1"))).background
    assert table.ids() == (("can0", 0x123, False), ("can0", 0x123, True), ("can1", 0x123, False))
    extended = table.of("can0", 0x123, extended=True)
    assert extended is not None and extended.first_line == 2
    assert table.of("can2", 0x123) is None


def test_bus_load_follows_the_bits_on_the_wire(write: Write) -> None:
    """100 frames of 8 bytes a second: 100 × 117 bits of 500,000 (11-bit ids), 100 × 135 with 29 bits."""
    table = surveyed(write, cyclic(10, 2000, "123#0011223344556677")).background
    assert table.bit_rate("can0") == 500_000
    assert table.bus_load("can0").tolist() == pytest.approx([0.0234, 0.0234])
    assert table.bus_load("can0", 125_000).tolist() == pytest.approx([0.0936, 0.0936])
    table = surveyed(write, cyclic(10, 1000, "18DAF110#0011223344556677")).background
    assert table.bus_load("can0").tolist() == pytest.approx([0.027])
    assert table.bus_load("can9").tolist() == [0]


def test_a_bus_too_full_for_the_usual_rate_is_taken_for_a_faster_one() -> None:
    frames = [frame(at / 6, data=bytes(8)) for at in range(6000)]
    table = background(frames)
    assert table.bit_rate("can0") == 1_000_000
    assert table.bus_load("can0").max() == pytest.approx(6000 * 117 / 1e6)


def test_error_frames_are_counted_by_second_and_are_no_ids(write: Write) -> None:
    errors = cyclic(100, 3000, "20000080#0000000000000000", 2000)
    table = surveyed(write, cyclic(10, 3000, "080#00"), errors).background
    assert table.errors_per_second().tolist() == [0, 0, 10]
    assert table.ids() == (("can0", 0x080, False),)
    assert table.per_second("can0", 0x080).tolist() == [100, 100, 100]


def test_a_clock_that_jumps_for_decades_needs_no_memory(write: Write) -> None:
    text = "".join(f"({second}.000000) can0 123#00\n" for second in (10, 11, 1_700_000_000, 1_700_000_001))
    table = survey(write(text)).background
    assert table.n_seconds == 30 * 86_400
    assert table.per_second("can0", 0x123).sum() == 2
    traffic = table.of("can0", 0x123)
    assert traffic is not None and traffic.counts.tolist() == [1, 1, 1, 1]


def test_chunked_and_whole_reading_give_the_same_background() -> None:
    rng = np.random.default_rng(7)
    times = np.cumsum(rng.integers(1, 400, 3000))
    frames = [frame(float(at), can_id=int(0x100 + rng.integers(5)), line=row) for row, at in enumerate(times)]
    whole, parts = background(frames), background(*(frames[at : at + 37] for at in range(0, 3000, 37)))
    for one, other in zip(whole.traffic, parts.traffic, strict=True):
        assert (one.frames, one.first_ns, one.last_ns, one.first_line, one.last_line) == (
            other.frames, other.first_ns, other.last_ns, other.first_line, other.last_line,
        )  # fmt: skip
        assert (one.seconds == other.seconds).all() and (one.counts == other.counts).all()
    assert (whole.bus_load("can0") == parts.bus_load("can0")).all()
