"""Tables of any columns: words, bases, units, named columns; and what stamps of unknown kind are worth."""

from __future__ import annotations

from pathlib import Path

import pytest

from canlog.capture import csv_table
from canlog.capture.csv_header import read_header, time_unit
from canlog.capture.csv_table import named_columns
from canlog.capture.lines import Damaged
from canlog.capture.number_base import base_of_bytes, base_of_ids, number, without_hex_signs
from canlog.capture.stamp_text import Stamps
from canlog.errors import CaptureError
from canlog.frames import FrameFlag, FrameTable, TimeKind, join_tables
from canlog.read import read_capture

S = 1_000_000_000


def table_of(text: bytes) -> FrameTable:
    assert csv_table.recognise(text) == 1
    return join_tables(list(csv_table.read([text])))


SAME = [  # every one of them says: 7E0 with 02 10 03, one second after an unknown moment
    b"time,id,data\n1.0,7E0,021003\n",
    b"Time;ID;DLC;Data\n1,0;7E0;3;02 10 03\n",
    b"Data\tDLC\tCAN ID\tTime Stamp\n0x02 0x10 0x03\t3\t0x7E0\t1.000000\n",
    b"id|length|payload|timestamp\n7E0h|3|02-10-03|1.0\n",
    b"time_ms,arbitration_id,dlc,data\n1000,7E0,3,021003\n",
    "Time (µs),ID,B0,B1,B2\n1000000,7E0,02,10,03\n".encode(),
    b'"time","id","data"\n"1.0","7E0","[0x02, 0x10, 0x03]"\n',
    b"Ch,Dir,time,id,data,comment\n1,Rx,1.0,7E0,021003,first of all\n",
    b"time,id,data\n1.0,7E0,02,10,03\n",
    b"made by a logger\n\ntime,id,data\n1.0,7E0,021003\n",
]


@pytest.mark.parametrize("text", SAME)
def test_the_same_frame_is_read_from_many_tables(text: bytes) -> None:
    frame = table_of(text)[0]
    assert (frame.time_ns, frame.can_id, frame.data.hex(), frame.length) == (S, 0x7E0, "021003", 3)


def test_decimal_ids_and_bytes_are_seen_from_many_of_them() -> None:
    rows = b"".join(b"%d.5;2016;8;2 16 3 0 0 0 0 0\n%d.6;2024;8;6 80 3 0 50 1 244 170\n" % (at, at) for at in range(9))
    table = table_of(b"Time;ID;DLC;Data\n" + rows)
    assert (table[0].can_id, table[0].data.hex(), table[1].data.hex()) == (
        0x7E0,
        "0210030000000000",
        "0650030032 01f4aa".replace(" ", ""),
    )
    assert len(table.notes) == 2 and all("decimal" in note for note in table.notes)


def test_zeros_left_out_of_bytes_are_put_back() -> None:
    table = table_of(b"time,id,len,d0,d1,d2\n1.0,7E0,3,2,10,3\n2.0,7E8,3,2,50,A\n")
    assert [frame.data.hex() for frame in table] == ["021003", "02500a"]


def test_a_table_without_a_time_has_order_only() -> None:
    table = table_of(b"id,data\n7E0,021003\n7E8,025003\n")
    assert table.time_kind is TimeKind.NONE and not table.time_ns.any()


def test_rows_of_error_and_remote_frames_keep_what_they_are() -> None:
    header = b"timestamp,arbitration_id,extended,remote,error,dlc,data\n"
    table = table_of(header + b"1.0,0x0,0,0,1,0,\n1.1,0x123,0,1,0,8,\n1.2,0x18daf110,1,0,0,2,PgA=\n")
    assert [frame.flags for frame in table] == [FrameFlag.ERROR, FrameFlag.REMOTE, FrameFlag.EXTENDED]
    assert [frame.length for frame in table] == [0, 8, 2] and table[2].data == b"\x3e\x00"


BAD_ROWS = [
    (b"1.0,7E0", "fewer columns"),
    (b"1.0,7_0,021003", "no hex number"),
    (b"1.0,-7E,021003", "no hex number"),
    (b"1.0,4FFFFFFF,02", "29 bits"),
    (b"soon,7E0,02", "no number"),
    (b"1.0,7E0,0210031", "no numbers"),
    (b"1.0,7E0,021003021003021003", "9 bytes"),
    (b'1.0,7E0,"021003', "no row of a table"),
    (b"99999999999.0,7E0,021003", "out of range"),
]


@pytest.mark.parametrize(("row", "reason"), BAD_ROWS)
def test_a_damaged_row_is_kept_with_its_reason(row: bytes, reason: str) -> None:
    good = b"1.0,7E0,021003\n"
    table = table_of(b"time,id,data\n" + good + row + b"\n" + good)
    assert table.line.tolist()[0::1] in ([2, 4], [2, 3, 4])
    assert [bad.line for bad in table.bad_lines] == [3] and reason in table.bad_lines[0].reason


def test_columns_may_be_named_where_there_is_no_header() -> None:
    reader = named_columns("time, -, id, dlc, data")
    text = b"1.0 can 7E0 3 02 10 03\n1.1 can 7E8 3 02 50 03\n"
    assert reader.recognise(text) == 1 and csv_table.recognise(text) == 0
    table = join_tables(list(reader.read([text])))
    assert [(frame.can_id, frame.data.hex()) for frame in table] == [(0x7E0, "021003"), (0x7E8, "025003")]
    assert table.time_ns.tolist() == [S, S + S // 10]
    assert join_tables(list(named_columns("id;data").read([b"7E0;021003\n"])))[0].can_id == 0x7E0


def test_a_file_is_read_by_named_columns_or_refused(tmp_path: Path) -> None:
    path = tmp_path / "table.txt"
    path.write_bytes(b"1.0;7E0;021003\n1.1;7E8;025003\n")
    capture = read_capture(path, columns="time,id,data")
    assert capture.format == "csv" and [frame.can_id for frame in capture.frames()] == [0x7E0, 0x7E8]
    assert "no column for" in capture.cannot_tell
    with pytest.raises(CaptureError, match=r"table.txt: no row that is a frame in the columns named \(id,data,time\)"):
        read_capture(path, columns="id,data,time")


@pytest.mark.parametrize("names", ["", "time,data", "id,time", "a,b,c"])
def test_columns_that_name_no_id_or_data_are_refused(names: str) -> None:
    with pytest.raises(CaptureError, match="name no id or no data") as refusal:
        named_columns(names)
    assert "time,id,data" in refusal.value.hint


@pytest.mark.parametrize("header", [b"", b"time,price,volume", b"time,id,price", b"id,name", b"1.0,7E0,021003"])
def test_other_headers_are_no_headers(header: bytes) -> None:
    assert read_header(header) is None


@pytest.mark.parametrize(
    ("word", "unit"),
    [("time", ""), ("Time Stamp", ""), ("time_ms", "milliseconds"), ("Timestamp (us)", "microseconds"),
     ("time [s]", "seconds"), ("ts_ns", "nanoseconds"), ("timer", None), ("id", None)],
)  # fmt: skip
def test_a_word_for_time_may_name_the_unit(word: str, unit: str | None) -> None:
    assert time_unit(word) == unit


ID_BASES = [
    ([b"7E0", b"123"], 16), ([b"0x123"], 16), ([b"123h"], 16), ([b"00000123"], 16), ([b"123", b"456"], 16),
    ([b"2016", b"2024"], 10), ([b"417001744"], 10), ([b"2016", b"291"], 10), ([b"4000"], 16), ([], 16),
]  # fmt: skip
BYTE_BASES = [
    ([b"02", b"10"], 16), ([b"0x2"], 16), ([b"2", b"A"], 16), ([b"2", b"255"], 10), ([b"2", b"16"] * 40, 10),
    ([b"2", b"16"], None),
]  # fmt: skip


@pytest.mark.parametrize(("texts", "base"), ID_BASES)
def test_the_base_of_ids(texts: list[bytes], base: int) -> None:
    assert base_of_ids(texts) == base


@pytest.mark.parametrize(("texts", "base"), BYTE_BASES)
def test_the_base_of_bytes_or_none(texts: list[bytes], base: int | None) -> None:
    assert base_of_bytes(texts) == base


@pytest.mark.parametrize(("text", "digits"), [(b"0x7E0", b"7E0"), (b"7E0h", b"7E0"), (b"0x", b"0"), (b"7", b"7")])
def test_the_signs_of_a_hex_number_are_taken_off(text: bytes, digits: bytes) -> None:
    assert without_hex_signs(text) == digits


@pytest.mark.parametrize("text", [b"", b"1_0", b"+1", b"-1", b" 1", b"1.0", b"G"])
def test_a_number_is_digits_and_nothing_else(text: bytes) -> None:
    with pytest.raises(ValueError):
        number(text, 16)


def stamps(*texts: str, unit: str = "") -> tuple[list[int], Stamps]:
    reader = Stamps([text.encode() for text in texts], unit)
    return [reader.time_ns(text.encode()) for text in texts], reader


def test_decimal_numbers_are_seconds_unless_frames_would_be_too_far_apart() -> None:
    assert stamps("0.001", "0.0015", "0.002")[0] == [1_000_000, 1_500_000, 2_000_000]
    quick = [f"{at * 0.25:.3f}" for at in range(150)]
    times, reader = stamps(*quick)
    assert times[1] == 250_000 and "milliseconds" in reader.notes[0]


@pytest.mark.parametrize(
    ("first", "step", "unit_ns"),
    [(1_700_000_000_000, 3, 10**6), (1_700_000_000_000_000, 300, 1000), (1_700_000_000_000_000_000, 300_000, 1)],
)
def test_counts_whose_dates_are_of_our_time_are_absolute(first: int, step: int, unit_ns: int) -> None:
    times, reader = stamps(*(str(first + at * step) for at in range(30)))
    assert times == [(first + at * step) * unit_ns for at in range(30)]
    assert reader.time_kind is TimeKind.ABSOLUTE


def test_a_quick_bus_in_milliseconds_is_not_taken_for_microseconds() -> None:
    times, _ = stamps(*(str(at // 2) for at in range(200)))
    assert times[-1] == 99 * 10**6


def test_counts_that_no_unit_fits_are_said_to_be_guessed() -> None:
    assert "not known" in stamps("5", "5", "5")[1].notes[0]
    assert not stamps("5", "5", unit="seconds")[1].notes


def test_dates_are_local_unless_they_name_a_zone() -> None:
    times, reader = stamps("2026-11-24 21:00:00.346476", "2026-11-24 21:00:01,5")
    assert times == [1795554000346476000, 1795554001500000000] and reader.time_kind is TimeKind.RELATIVE
    zoned, reader = stamps("2026-11-24T21:00:00Z", "2026-11-24T22:30:00+01:30", "2026-11-24T19:30:00-0130")
    assert zoned == [1795554000 * S] * 3 and reader.time_kind is TimeKind.ABSOLUTE


def test_times_of_day_go_on_after_midnight() -> None:
    times, reader = stamps("23:59:59.5", "00:00:00.5", "00:00:00.4", "12:00:00")
    assert [time_ns - times[0] for time_ns in times] == [0, S, S * 9 // 10, 43_200 * S + S // 2]
    assert "times of day" in reader.notes[0]


@pytest.mark.parametrize(
    ("samples", "text"),
    [(["1.0"], "x"), (["1"], "1.5"), (["1.0"], "99999999999999.0"), (["12:00:00"], "25:00:00"), (["12:00:00"], "1.0"),
     (["2026-01-01 00:00:00"], "2026-02-30 00:00:00"), (["2026-01-01 00:00:00"], "12:00:00")],
)  # fmt: skip
def test_a_stamp_of_another_kind_is_damage(samples: list[str], text: str) -> None:
    reader = Stamps([sample.encode() for sample in samples])
    with pytest.raises(Damaged):
        reader.time_ns(text.encode())
