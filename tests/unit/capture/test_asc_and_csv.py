"""The ASC and CSV readers: on real captures (fixtures/real/SOURCES.md) and on single lines.

Forms of ASC lines: python-can 4.6.1, can/io/asc.py (reader and writer).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from canlog.capture import asc, csv_table
from canlog.frames import Frame, FrameFlag, FrameTable, TimeKind, join_tables
from canlog.read import read_capture
from canlog.survey import survey

REAL = Path(__file__).parents[3] / "fixtures" / "real"
HEADER = b"date Thu Nov 9 20:36:33 2023\nbase hex  timestamps absolute\ninternal events logged\n"

#: File, format, frames, lines that are no frames, channels. Counts of whole files as published in SOURCES.md.
COUNTS = [
    ("ev_bms_1.asc", "asc", 598, 3, ("0",)),
    ("ev_bms_2.asc", "asc", 543, 4, ("0",)),
    ("ev_bms_3.asc", "asc", 738, 4, ("0",)),
    ("ev_bms_7.asc", "asc", 879, 4, ("0",)),
    ("ev_bms_9.asc", "asc", 720, 4, ("0",)),
    ("ev_dcan_scan_1.csv", "csv", 1079, 1, ("1",)),
    ("ev_dcan_scan_2.csv", "csv", 638, 1, ("1",)),
    ("ev_bench_unit.csv", "csv", 600, 1, ("1",)),
    ("ev_bench_2bus.csv", "csv", 600, 1, ("0", "1")),
    ("ev_noise_2bus.csv", "csv", 600, 1, ("0", "1")),
    ("ev_noise_2bus_b.csv", "csv", 600, 1, ("0", "1")),
    ("ev_noise_dir_column.csv", "csv", 600, 1, ("0",)),
]


@pytest.mark.parametrize(("name", "form", "frames", "others", "channels"), COUNTS)
def test_a_real_capture_is_read_to_the_last_line(
    name: str, form: str, frames: int, others: int, channels: tuple[str, ...]
) -> None:
    capture = read_capture(REAL / name)
    table = capture.frames()
    assert (capture.format, len(table), sorted(table.channels)) == (form, frames, sorted(channels))
    assert not table.bad_lines and table.lines_read == frames + others
    assert table.time_kind is TimeKind.RELATIVE


def test_every_real_capture_is_tried() -> None:
    assert {path.name for path in REAL.iterdir() if path.suffix in (".asc", ".csv")} == {name for name, *_ in COUNTS}


def test_two_merged_buses_are_in_order_each_by_itself() -> None:
    capture = read_capture(REAL / "ev_bench_2bus.csv")
    assert (capture.frames().time_ns[1:] < capture.frames().time_ns[:-1]).any()
    assert survey(capture).summary.out_of_order == 0


def test_a_clock_that_steps_back_in_a_real_capture_is_found() -> None:
    (step,) = survey(read_capture(REAL / "ev_noise_dir_column.csv")).summary.clock_steps
    assert (step.line, step.channel, step.time_ns) == (90, "0", -364_210_000)
    assert step.size_ns > 22 * 10**9


def test_the_first_real_asc_line_is_what_it_says() -> None:
    capture = read_capture(REAL / "ev_bms_1.asc")
    frame = capture.frames()[0]
    assert frame == Frame(
        153_600_000, "0", 0x594, FrameFlag.RECEIVED, 8, bytes.fromhex("34213421A0610420"), 4, frame.position
    )
    assert capture.raw_line(frame.position) == "   0.153600 0  594\tRx   d 8 34 21 34 21 A0 61 04 20 "


def test_the_direction_column_is_read() -> None:
    assert read_capture(REAL / "ev_noise_dir_column.csv").frames()[0].flags == FrameFlag.RECEIVED


# --- ASC line by line


def asc_table(*parts: bytes) -> FrameTable:
    return join_tables(list(asc.read([b"".join(parts)])))


FD = b"0.153600 CANFD   1 "
ASC_LINES = [
    (b"0.153600 1  7E0             Rx   d 3 02 10 03", 0x7E0, FrameFlag.RECEIVED, 3, "021003"),
    (b"0.153600 1  18DAF110x       Tx   d 3 02 10 03", 0x18DAF110, FrameFlag.EXTENDED | FrameFlag.SENT, 3, "021003"),
    (b"0,153600 1  7E0             rx   d 3 02 10 03", 0x7E0, FrameFlag.RECEIVED, 3, "021003"),
    (b"0.153600 1  7E0             TxRq d 3 02 10 03", 0x7E0, FrameFlag.SENT, 3, "021003"),
    (b"0.153600 1  7E0             Rx   d 3 02 10 03  Length = 200 BitCount = 80 ID = 2016", 0x7E0, 64, 3, "021003"),
    (b"0.153600 1  7E0             Rx   d 9 02 10 03 00 00 00 00 00", 0x7E0, 64, 8, "0210030000000000"),
    (b"0.153600 1  7E0             Rx   d 0", 0x7E0, FrameFlag.RECEIVED, 0, ""),
    (b"0.153600 1  7E0             Rx   r 8", 0x7E0, FrameFlag.RECEIVED | FrameFlag.REMOTE, 8, ""),
    (b"0.153600 1  7E0             Rx   r", 0x7E0, FrameFlag.RECEIVED | FrameFlag.REMOTE, 0, ""),
    (b"0.153600 1  ErrorFrame", 0x080, FrameFlag.ERROR, 0, ""),
    (b"0.153600 1  ErrorFrame	ECC: 10100010", 0x080, FrameFlag.ERROR, 0, ""),
    (FD + b"Rx        7E8        1 0 3  3 02 10 03   0    0     3000        0", 0x7E8, 64 | 2 | 4, 3, "021003"),
    (FD + b"Tx   18DAF110x  name 0 1 3  3 02 10 03   0    0     5000", 0x18DAF110, 1 | 128 | 2 | 8, 3, "021003"),
    (FD + b"Rx        7E8        0 0 0  0   0    0     1000        0", 0x7E8, 64 | 2, 0, ""),
    (FD + b"Rx        7E8        0 0 3  3 02 10 03   0    0        0        0", 0x7E8, 64, 3, "021003"),
    (FD + b"Rx        7E8        1 0 9 12 " + b"AB " * 12 + b" 0 0 3000 0", 0x7E8, 64 | 2 | 4, 12, "AB" * 12),
]  # fmt: skip


@pytest.mark.parametrize(("line", "can_id", "flags", "length", "data"), ASC_LINES)
def test_an_asc_line_is_read(line: bytes, can_id: int, flags: int, length: int, data: str) -> None:
    table = asc_table(HEADER, line, b"\n")
    assert not table.bad_lines
    frame = table[0]
    assert (frame.can_id, frame.flags, frame.length, frame.data) == (can_id, flags, length, bytes.fromhex(data))
    assert (frame.time_ns, frame.channel) == (153_600_000, "1")


ASC_DAMAGED = [
    (b"0.153600 1  7E0             Rx   d 8 02 10 03", "8 bytes announced, 3 there"),
    (b"0.153600 1  7E0             Rx   d 3 02 10 1003", "no bytes"),
    (b"0.153600 1  EngineSpeed     Rx   d 3 02 10 03", "neither a frame nor an event"),
    (b"0.153600 1  3FFFFFFFx       Rx   d 3 02 10 03", "29 bits"),
    (b"0.153600 1  7E0             Rx   d", "without a length"),
    (b"0.153600 CANFD   1 Rx        7E8        1 0 9 12 00 01 02", "12 bytes announced, 3 there"),
    (b"0.153600 CANFD   1 Rx        7E8        1 0 8 12 00 01 02 03 04 05 06 07 08 09 0A 0B", "does not fit DLC 8"),
    (b"0.153600 CANFD   1 Rx        7E8        1 0 9 11 00 01 02 03 04 05 06 07 08 09 0A", "does not fit DLC 9"),
    (b"600 1  7E0             Rx   d 3 02 10 03", "neither a frame nor an event"),
    (b"9999999999.0 1  7E0    Rx   d 3 02 10 03", "out of range"),
]


@pytest.mark.parametrize(("line", "reason"), ASC_DAMAGED)
def test_a_damaged_asc_line_is_kept_with_its_reason(line: bytes, reason: str) -> None:
    good = b"0.1 1 7E0 Rx d 1 3E\n"
    table = asc_table(HEADER, good, line, b"\n", good)
    assert [frame.line for frame in table] == [4, 6]
    assert reason in table.bad_lines[0].reason


def test_events_of_the_form_are_neither_frames_nor_damage() -> None:
    events = b"""Begin Triggerblock Thu Nov 9 20:36:33.000 2023
   0.000000 Start of measurement
   0.010000 CAN 1 Status:chip status error active
   1.000000 1  Statistic: D 10 R 0 XD 0 XR 0 E 0 O 0 B 1.23%
   1.100000 log trigger event
// a comment
End TriggerBlock
"""
    table = asc_table(HEADER, events)
    assert not len(table) and not table.bad_lines


def test_relative_stamps_are_added_up() -> None:
    header = b"base hex  timestamps relative\n"
    table = asc_table(header, b"0.001000 1 7E0 Rx d 1 3E\n" * 3)
    assert table.time_ns.tolist() == [1_000_000, 2_000_000, 3_000_000]


def test_decimal_ids_and_bytes_are_read_where_the_header_says_so() -> None:
    table = asc_table(b"base dec  timestamps absolute\n", b"0.001000 1 2016 Rx d 3 2 16 255\n")
    assert (table[0].can_id, table[0].data) == (2016, bytes([2, 16, 255]))


def test_a_missing_header_costs_no_frame_and_is_noted() -> None:
    table = asc_table(b"0.1 1 7E0 Rx d 1 3E\n")
    assert len(table) == 1 and "no header" in table.notes[0]
    assert asc_table(HEADER, b"0.1 1 7E0 Rx d 1 3E\n").notes == ()


def test_a_29_bit_id_without_its_mark_is_taken_as_such_and_noted() -> None:
    table = asc_table(HEADER, b"0.1 1 18DAF110 Rx d 1 3E\n")
    assert table[0].flags & FrameFlag.EXTENDED and "29 bit" in table.notes[0]


# --- CSV row by row


def csv(*parts: bytes) -> FrameTable:
    return join_tables(list(csv_table.read([b"".join(parts)])))


CSV_HEADER = b"Time Stamp,ID,Extended,Bus,LEN,D1,D2,D3,D4,D5,D6,D7,D8\r\n"
CSV_GOOD = b"1000000,000007E0,false,0,3,02,10,03\r\n"

CSV_DAMAGED = [
    (b"1000500,000007E0,false,0,8,02,10,03", "length 8, but 3 bytes"),
    (b"1000500,000007E0,false,0,2,02,10,03", "length 2, but 3 bytes"),
    (b"1000500,000007E0,false,0,3,02,10,3", "no numbers"),
    (b"1000500,000007E0,false,0,x,02,10,03", "no numbers"),
    (b"1000500,000007E0,maybe,0,3,02,10,03", "neither yes nor no"),
    (b"1000500,00000FE0,false,0,3,02,10,03", "at most 7FF"),
    (b"1000500,80000FE0,true,0,3,02,10,03", "29 bits"),
    (b"1000500,hello,true,0,3,02,10,03", "no hex number"),
    (b"then,000007E0,false,0,3,02,10,03", "time is no number"),
    (b"1.5,000007E0,false,0,3,02,10,03", "decimals"),
    (b"9999999999999999999,000007E0,false,0,3,02,10,03", "out of range"),
    (b"1000500,0000", "fewer columns"),
]


@pytest.mark.parametrize(("line", "reason"), CSV_DAMAGED)
def test_a_damaged_row_is_kept_with_its_reason(line: bytes, reason: str) -> None:
    table = csv(CSV_HEADER, CSV_GOOD, line, b"\r\n", CSV_GOOD)
    assert [frame.line for frame in table] == [2, 4]
    assert reason in table.bad_lines[0].reason


OTHER_LAYOUTS = [
    b"id;time;length;data;channel\n7E0;1.000250;3;02 10 03;can0\n",
    b"Time\tCAN ID\tDLC\tByte0\tByte1\tByte2\tLength\n1.000250\t0x7E0\t3\t02\t10\t03\t3\n",
    b'"timestamp","id","len","d0","d1","d2"\n"1.000250","7E0","3","02","10","03"\n',
]


@pytest.mark.parametrize("text", OTHER_LAYOUTS)
def test_columns_are_found_by_their_words_in_any_order(text: bytes) -> None:
    assert csv_table.recognise(text) == 1
    table = csv(text)
    assert (table[0].time_ns, table[0].can_id, table[0].data) == (1_000_250_000, 0x7E0, bytes.fromhex("021003"))


@pytest.mark.parametrize(
    ("step", "word", "unit_ns"),
    [
        (500, "microseconds", 1000),
        (100_000, "microseconds", 1000),
        (5, "milliseconds", 10**6),
        (3 * 10**8, "nanoseconds", 1),
    ],
)
def test_the_unit_of_a_count_is_the_one_that_fits_a_can_bus(step: int, word: str, unit_ns: int) -> None:
    rows = [b"%d,000007E0,false,0,1,3E\n" % (at * step) for at in range(50)]
    table = csv(CSV_HEADER, *rows)
    assert table.time_ns.tolist() == [at * step * unit_ns for at in range(50)]
    assert word in table.notes[0]


def test_an_error_frame_and_a_can_fd_row_keep_what_they_are() -> None:
    header = b"time,id,extended,len,data\n"
    table = csv(header, b"1.0,20000004,true,8,0001000000000000\n1.1,000007E0,false,12,000102030405060708090A0B\n")
    assert (table[0].flags, table[0].can_id, table[1].flags) == (FrameFlag.ERROR, 4, FrameFlag.FD)
