"""The readers of TRC, serial-line text and plain id and data, line by line.

Forms: python-can 4.6.1, can/io/trc.py and can/interfaces/slcan.py.
"""

from __future__ import annotations

import pytest

from canlog.capture import asc, id_data, slcan, trc
from canlog.frames import FrameFlag, FrameTable, TimeKind, join_tables

RX, TX = FrameFlag.RECEIVED, FrameFlag.SENT
EXT, FD, BRS, ESI, REMOTE = FrameFlag.EXTENDED, FrameFlag.FD, FrameFlag.BRS, FrameFlag.ESI, FrameFlag.REMOTE


def trc_table(text: bytes) -> FrameTable:
    return join_tables(list(trc.read([text])))


V11 = b";$FILEVERSION=1.1\n;$STARTTIME=46350.875\n"
V21 = b";$FILEVERSION=2.1\n;$STARTTIME=46350.875\n;$COLUMNS=N,O,T,B,I,d,R,L,D\n"
START_NS = 1_795_554_000_000_000_000  # 46350.875 days after 1899-12-30

AT_1_MS, AT_1059_9 = START_NS + 1_000_000, START_NS + 1_059_900_000
EIGHT = "0011223344556677"
V20 = b";$FILEVERSION=2.0\n;$COLUMNS=N,O,T,I,d,l,D\n"
ERR = FrameFlag.ERROR

TRC_LINES = [
    ("1.0", b"", b"   1)   1841 0300  8  00 11 22 33 44 55 66 77", (1841_000_000, "1", 0x300, 0, 8, EIGHT)),
    ("1.1", V11, b"   1)   1059.9  Rx     0300  3  02 10 03", (AT_1059_9, "1", 0x300, RX, 3, "021003")),
    ("1.1 sent", V11, b"1) 1.0 Tx 18DAF110 2 3E 00", (AT_1_MS, "1", 0x18DAF110, TX | EXT, 2, "3e00")),
    ("1.1 remote", V11, b"1) 1.0 Rx 0200 8 RTR", (AT_1_MS, "1", 0x200, RX | REMOTE, 8, "")),
    ("1.1 dlc 9", V11, b"1) 1.0 Rx 0200 9 00 11 22 33 44 55 66 77", (AT_1_MS, "1", 0x200, RX, 8, EIGHT)),
    ("1.2", b";$FILEVERSION=1.2\n", b"1) 1.0 2 Rx 0300 1 3E", (1_000_000, "2", 0x300, RX, 1, "3e")),
    ("1.3", b";$FILEVERSION=1.3\n", b"1) 1.0 2 Rx 0300 - 1 3E", (1_000_000, "2", 0x300, RX, 1, "3e")),
    ("2.0", V20, b"1 1.5 DT 0300 Rx 2 3E 00", (1_500_000, "1", 0x300, RX, 2, "3e00")),
    ("2.1", V21, b"1 1059.900 DT 1 0300 Rx -  3    02 10 03", (AT_1059_9, "1", 0x300, RX, 3, "021003")),
    ("2.1 FD", V21, b"1 1.0 FB 1 0300 Tx - 9 " + b"00 " * 12, (AT_1_MS, "1", 0x300, TX | FD | BRS, 12, "00" * 12)),
    ("2.1 ESI", V21, b"1 1.0 BI 1 0300 Tx - 1 3E", (AT_1_MS, "1", 0x300, TX | FD | ESI, 1, "3e")),
    ("2.1 remote", V21, b"1 1.0 RR 1 0300 Rx - 8", (AT_1_MS, "1", 0x300, RX | REMOTE, 8, "")),
    ("2.1 error", V21, b"1 1.0 ER 1 - Rx - 5 01 01 01 01 01", (AT_1_MS, "1", 0x080, ERR, 5, "01" * 5)),
    ("negative", V11, b"1) -1.5 Rx 0300 1 3E", (START_NS - 1_500_000, "1", 0x300, RX, 1, "3e")),
]  # fmt: skip


@pytest.mark.parametrize(("name", "header", "line", "frame"), TRC_LINES, ids=[name for name, *_ in TRC_LINES])
def test_a_trc_line_of_each_version_is_read(name: str, header: bytes, line: bytes, frame: tuple[object, ...]) -> None:
    text = header + b";  comment\r\n" + line + b"\r\n"
    assert trc.recognise(text) == 1
    row = trc_table(text)[0]
    assert (row.time_ns, row.channel, row.can_id, row.flags, row.length, row.data.hex()) == frame


TRC_BAD = [
    (b"1) 1.0 Rx 0300 8 00 11", "8 bytes announced, 2 there"),
    (b"1) 1.0 Rx 0300", "fewer columns"),
    (b"1) 1.0 Rx 0800 1 00", "at most 7FF"),
    (b"1) 1.0 Rx 2FFFFFFF 1 00", "more than 29 bits"),
    (b"1) 1.0 Rx XYZ 1 00", "no hex number"),
    (b"1) 1.0 Rx 0300 77 00", "no size of a frame"),
    (b"1) 1.0 Rx 0300 x 00", "its length is no number"),
    (b"1) 1.0 Rx 0300 1 0", "1 bytes announced, 0 there"),
    (b"1) 1.0 Rx 0300 1 GG", "no bytes"),
    (b"1) soon Rx 0300 1 00", "no number of milliseconds"),
    (b"1) 9999999999999 Rx 0300 1 00", "out of range"),
    (b"1) 1.0 Qx 0300 1 00", "unknown type QX"),
    (b"hello world", "without its number"),
]


@pytest.mark.parametrize(("line", "reason"), TRC_BAD)
def test_a_damaged_trc_line_is_kept_with_its_reason(line: bytes, reason: str) -> None:
    good = b"1) 1.0 Rx 0300 1 3E\n"
    table = trc_table(V11 + good + line + b"\n" + good)
    assert table.line.tolist() == [3, 5]
    assert [bad.line for bad in table.bad_lines] == [4] and reason in table.bad_lines[0].reason


def test_status_lines_of_a_trc_file_are_counted_and_no_damage() -> None:
    table = trc_table(
        V11 + b"1) 1.0 Rx 0300 1 3E\n2) 1.1 Warng FFFFFFFF 4 00 00 00 08 BUSHEAVY\n3) 1.2 Error 0008 4 00 19 08 08\n"
    )
    assert [frame.flags for frame in table] == [RX, FrameFlag.ERROR]
    assert not table.bad_lines and "that are no frames: 1" in table.notes[-1]


def test_a_trc_file_of_an_unknown_version_is_read_by_its_columns_or_as_the_oldest() -> None:
    named = trc_table(b";$FILEVERSION=2.7\n;$COLUMNS=N,O,I,l,D\n1 1.0 0300 1 3E\n")
    assert named[0].can_id == 0x300 and not named.notes
    unnamed = trc_table(b";$FILEVERSION=9.9\n1) 1 0300 1 3E\n")
    assert unnamed[0].can_id == 0x300 and "version 1.0" in unnamed.notes[0]


def test_the_start_of_a_trc_file_is_local_time_and_so_relative() -> None:
    table = trc_table(V11 + b"1) 1.0 Rx 0300 1 3E\n")
    assert table.time_kind is TimeKind.RELATIVE and "local time" in table.notes[0]
    assert trc_table(V11.replace(b"46350.875", b"junk") + b"1) 1.0 Rx 0300 1 3E\n").time_ns[0] == 1_000_000


def slcan_table(text: bytes) -> FrameTable:
    return join_tables(list(slcan.read([text])))


SLCAN_LINES = [
    (b"t7E8302500F", (0x7E8, 0, 3, "02500f")),
    (b"t7E80", (0x7E8, 0, 0, "")),
    (b"T18DAF11023E00", (0x18DAF110, EXT, 2, "3e00")),
    (b"r7E08", (0x7E0, REMOTE, 8, "")),
    (b"R18DAF1103", (0x18DAF110, EXT | REMOTE, 3, "")),
    (b"d7E09" + b"00" * 12, (0x7E0, FD, 12, "00" * 12)),
    (b"B18DAF110F" + b"AA" * 64, (0x18DAF110, EXT | FD | BRS, 64, "aa" * 64)),
]


@pytest.mark.parametrize(("line", "frame"), SLCAN_LINES)
@pytest.mark.parametrize("end", [b"\r", b"\r\n", b"\n", b"\r\a"])
def test_a_serial_line_of_each_kind_is_read(line: bytes, frame: tuple[object, ...], end: bytes) -> None:
    assert slcan.recognise(line + end) == 1
    row = slcan_table(line + end)[0]
    assert (row.can_id, row.flags, row.length, row.data.hex()) == frame
    assert slcan_table(line + end).time_kind is TimeKind.NONE


def test_times_modulo_a_minute_are_added_up() -> None:
    stamps = [43_266, 59_999, 0, 0, 5, 3, 30_000, 100]
    table = slcan_table(b"".join(b"t10021133%04X\r" % stamp for stamp in stamps))
    assert (table.time_ns // 1_000_000).tolist() == [43_266, 59_999, 60_000, 60_000, 60_005, 60_003, 90_000, 120_100]
    assert table.time_kind is TimeKind.RELATIVE and "modulo a minute" in table.notes[0]


SLCAN_BAD = [
    (b"t7E830250", "length fits"),
    (b"t7E8302500FFF", "length fits"),
    (b"t7E8902500F", "length fits"),
    (b"t8003025003", "length fits"),
    (b"T2000000021122", "length fits"),
    (b"hello", "length fits"),
    (b"t7E83025003EA60", "length fits"),
    (b"t7E83025003", "no time, though"),
]


@pytest.mark.parametrize(("line", "reason"), SLCAN_BAD)
def test_a_serial_line_whose_length_does_not_fit_is_kept_with_its_reason(line: bytes, reason: str) -> None:
    good = b"t10021133A902\r"
    table = slcan_table(good + line + b"\r" + good)
    assert table.line.tolist() == [1, 3] and reason in table.bad_lines[0].reason


def test_settings_and_answers_of_the_adapter_are_no_frames_and_no_damage() -> None:
    table = slcan_table(b"V\rV1013\rN1234\rS6\rZ1\rO\rt10021133A902\rz\r\a\rF00\rC\r")
    assert len(table) == 1 and not table.bad_lines
    assert "no frames: 10" in table.notes[-1]


def test_a_log_of_settings_alone_is_no_capture() -> None:
    assert slcan.recognise(b"S6\rO\rz\r") == 0 == slcan.recognise(b"")


ID_DATA_LINES = [
    (b"7E8 02 50 03", 0x7E8, "025003"),
    (b"7E8#025003", 0x7E8, "025003"),
    (b"  7e8   025003  ", 0x7E8, "025003"),
    (b"0x7E8 02 50 03", 0x7E8, "025003"),
    (b"0x7E8: 0x02, 0x50, 0x03", 0x7E8, "025003"),
    (b"7E8 [3] 02 50 03", 0x7E8, "025003"),
    (b"7E8 8 02 50 03 00 00 00 00 00", 0x7E8, "0250030000000000"),
    (b"7E8,02-50-03", 0x7E8, "025003"),
    (b"18DAF110 3E 00", 0x18DAF110, "3e00"),
]


@pytest.mark.parametrize(("line", "can_id", "data"), ID_DATA_LINES)
def test_id_and_bytes_are_read_however_they_are_typed(line: bytes, can_id: int, data: str) -> None:
    table = join_tables(list(id_data.read([line + b"\n"])))
    assert (table[0].can_id, table[0].data.hex(), table.time_kind) == (can_id, data, TimeKind.NONE)
    assert bool(table[0].flags & EXT) == (can_id > 0x7FF)


ID_DATA_BAD = [
    (b"7E8", "no id followed by bytes"),
    (b"7E8:", "without bytes"),
    (b"7E8 02 5", "no id followed by bytes"),
    (b"7E8 3 02 50", "3 bytes announced, 2 there"),
    (b"FFF 02", "at most 7FF"),
    (b"3FFFFFFFF 02", "no id followed"),
    (b"FFFFFFFF 02", "bits above 29"),
    (b"7E8 " + b"00 " * 9, "no size of a CAN FD"),
    (b"note to self", "no id followed"),
    (b"7E8 " + b"00 " * 600, "no id followed"),
]


@pytest.mark.parametrize(("line", "reason"), ID_DATA_BAD)
def test_a_damaged_line_of_id_and_bytes_is_kept_with_its_reason(line: bytes, reason: str) -> None:
    table = join_tables(list(id_data.read([b"7E0 02 10 03\n" + line + b"\n"])))
    assert len(table) == 1 and reason in table.bad_lines[0].reason


ASC_HEADER = b"base hex  timestamps absolute\n"


@pytest.mark.parametrize(
    ("lines", "kept"),
    [
        (["0.1 1 7E0 TxRq d 1 3E", "0.2 1 7E0 Tx d 1 3E", "0.3 1 7E0 TxRq d 1 3E"], [2]),
        (["0.1 1 7E0 TxRq d 1 3E", "0.3 1 7E0 TxRq d 1 3E"], [1, 2]),
        (["0.1 1 7E0 Tx d 1 3E", "0.2 1 7E0 Tx d 1 3E"], [1, 2]),
    ],
    ids=["both", "requests alone", "frames alone"],
)
def test_a_request_to_send_is_not_counted_beside_the_frame_sent(lines: list[str], kept: list[int]) -> None:
    text = ASC_HEADER + "\n".join(lines).encode() + b"\n"
    table = join_tables(list(asc.read([text])))
    assert [line - 1 for line in table.line.tolist()] == kept
    assert any("TxRq" in note for note in table.notes) == (len(kept) < len(lines))


def test_requests_before_the_first_frame_sent_stand_for_it_once() -> None:
    pages = b"".join(b"0.%05d 1 7E0 TxRq d 2 3E %02X\n" % (at, at % 256) for at in range(3000))
    text = (
        ASC_HEADER
        + pages
        + b"1.0 1 7E0 Tx d 2 3E %02X\n1.1 1 7E0 TxRq d 2 3E 00\n1.2 1 7E0 Tx d 2 3E 00\n" % (2999 % 256)
    )
    table = join_tables(list(asc.read([text])))
    assert len(table) == 3001 and table.line[-1] == 3004
