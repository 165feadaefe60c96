"""BLF, packet captures, SQLite and MF4: what damage, odd writers and other contents give.

The bytes are put together here from the fields that the readers' heads name, not by the readers' own code.
"""

from __future__ import annotations

import sqlite3
import struct
import sys
import zlib
from collections.abc import Iterable, Sequence
from pathlib import Path

import can
import pytest

from canlog.capture import blf, mf4, pcap
from canlog.capture.records import ByteStream
from canlog.capture.socketcan import Refused, byte_order, read_frame
from canlog.errors import CaptureError
from canlog.frames import FrameFlag, FrameTable, TimeKind, join_tables
from canlog.read import read_capture

RX, TX, EXT, FD, BRS, ESI = (
    FrameFlag.RECEIVED, FrameFlag.SENT, FrameFlag.EXTENDED, FrameFlag.FD, FrameFlag.BRS, FrameFlag.ESI,
)  # fmt: skip

# --- bytes in pieces


def test_a_stream_is_read_in_pieces_of_any_size() -> None:
    content = bytes(range(256)) * 1000
    for size in (1, 7, 1000, 10**6):
        stream = ByteStream(content[at : at + size] for at in range(0, len(content), size))
        assert stream.peek(5) == content[:5] and stream.read(3) == content[:3] and stream.position == 3
        assert stream.skip_to(b"\xfe\xff\x00") == 251 and stream.position == 254
        assert stream.skip_to(b"never") == len(content) - 254
        assert stream.read(10) == b"" and stream.position == len(content)


# --- BLF


def an_object(kind: int, body: bytes, time: int = 0, flags: int = 2, version: int = 1) -> bytes:
    head = struct.pack("<LHHQ", flags, 0, 0, time) + (b"" if version == 1 else bytes(8))
    size = 16 + len(head) + len(body)
    return struct.pack("<4sHHLL", b"LOBJ", 16 + len(head), version, size, kind) + head + body


def message(data: bytes, can_id: int = 0x7E0, channel: int = 1, flags: int = 0, dlc: int | None = None) -> bytes:
    return struct.pack("<HBBL8s", channel, flags, len(data) if dlc is None else dlc, can_id, data)


def container(objects: bytes, *, packed: bool = True) -> bytes:
    data = zlib.compress(objects) if packed else objects
    body = struct.pack("<H6xL4x", 2 if packed else 0, len(objects)) + data
    raw = struct.pack("<4sHHLL", b"LOBJ", 16, 1, 16 + len(body), 10) + body
    return raw + bytes(len(raw) % 4)


def blf_file(parts: Sequence[bytes], n_objects: int, date: Sequence[int] = (2026, 11, 2, 24, 21, 0, 0, 500)) -> bytes:
    body = b"".join(parts)
    head = struct.pack("<4sL8xQQLL8H8H", b"LOGG", 144, 144 + len(body), 0, n_objects, 0, *date, *([0] * 8))
    return head.ljust(144, b"\0") + body


def blf_table(content: bytes) -> FrameTable:
    return join_tables(list(blf.read([content])))


START_NS = 1_795_554_000_500_000_000


def test_objects_of_every_kind_are_read() -> None:
    fd = struct.pack("<HBBLLBBB5x64s", 2, 1, 9, 0x18DAF110 | 1 << 31, 0, 0, 7, 12, bytes(range(12)))
    fd_64 = struct.pack("<BBBBLLLLLLLHBBL", 3, 9, 12, 0, 0x123, 0, 0x7000, 0, 0, 0, 0, 0, 0, 0, 0) + bytes(range(12))
    short = struct.pack("<BBBBLLLLLLLHBBL", 3, 9, 12, 0, 0x123, 0, 0x1000, 0, 0, 0, 0, 0, 1, 0, 0) + bytes(range(1, 5))
    error = struct.pack("<HHLBBBxLLH2x8s", 1, 0, 0, 0, 0, 2, 0, 0, 0, b"\x01\x02")
    parts = [
        an_object(1, message(b"\x02\x10\x03"), time=1000),
        an_object(86, message(b"\x02\x50\x03", 0x7E8, flags=1), time=2, flags=1),
        an_object(1, message(b"", flags=0x80, dlc=8)),
        an_object(1, message(bytes(8), dlc=15), version=2),
        an_object(100, fd),
        an_object(101, fd_64),
        an_object(101, short),
        an_object(73, error),
        an_object(2, struct.pack("<HH", 4, 0)),
        an_object(104, struct.pack("<BBBB", 5, 0, 0, 0)),
        an_object(96, b"a marker"),
    ]
    table = blf_table(blf_file([container(b"".join(parts))], len(parts)))
    assert not table.bad_lines and table.lines_read == 11 and table.line.tolist() == list(range(1, 11))
    assert [(frame.channel, frame.flags, frame.length, frame.data.hex()) for frame in table] == [
        ("1", RX, 3, "021003"),
        ("1", TX, 3, "025003"),
        ("1", RX | FrameFlag.REMOTE, 8, ""),
        ("1", RX, 8, "00" * 8),
        ("2", TX | EXT | FD | BRS | ESI, 12, bytes(range(12)).hex()),
        ("3", RX | FD | BRS | ESI, 12, bytes(range(12)).hex()),
        ("3", TX | FD, 12, "01020304" + "00" * 8),
        ("1", FrameFlag.ERROR, 2, "0102"),
        ("4", FrameFlag.ERROR, 0, ""),
        ("5", FrameFlag.ERROR, 0, ""),
    ]
    assert (table.time_ns[:2] - START_NS).tolist() == [1000, 20_000]
    assert table.time_kind is TimeKind.RELATIVE and "local time" in table.notes[0]
    assert any("zeros were put" in note for note in table.notes) and any("no frames" in note for note in table.notes)


GOOD = an_object(1, message(b"\x02\x10\x03"))


def test_an_object_may_go_on_in_the_next_container_and_need_none() -> None:
    halves = [container((GOOD * 3)[:70]), container((GOOD * 3)[70:], packed=False), GOOD]
    assert len(blf_table(blf_file(halves, 4))) == 4


def test_a_log_without_a_date_counts_from_zero_and_one_never_ended_says_so() -> None:
    table = blf_table(blf_file([container(GOOD)], 1, date=[0] * 8))
    assert table.time_ns[0] == 0 and not table.notes
    content = bytearray(blf_file([container(GOOD)], 1))
    content[16:24], content[32:36] = bytes(8), bytes(4)
    assert any("did not end the file" in note for note in blf_table(bytes(content)).notes)


def test_a_damaged_container_loses_its_own_frames_only() -> None:
    parts = [container(GOOD * 5) for _ in range(3)]
    damaged = bytearray(parts[1])
    damaged[-6] ^= 0x40  # in the checksum or just before it
    table = blf_table(blf_file([parts[0], bytes(damaged), parts[2]], 15))
    assert len(table) == 10
    assert "none of its frames can be trusted" in table.bad_lines[0].reason
    assert "15 objects, 10 are here" in table.bad_lines[-1].reason and "damaged" in table.notes[-1]


def test_a_log_cut_between_containers_is_still_seen_to_be_cut() -> None:
    parts = [container(GOOD * 5) for _ in range(3)]
    content = blf_file(parts, 15)
    table = blf_table(content[: -len(parts[2])])
    assert len(table) == 10 and "cut short" in table.notes[-1] and table.bad_lines[0].line == 11


@pytest.mark.parametrize(
    ("damaged", "reason"),
    [
        (an_object(1, message(bytes(8), 0x800)), "at most 7FF"),
        (an_object(1, message(b"", dlc=16)), "no data length code"),
        (an_object(1, b"\0\0"), "an object of kind 1"),
        (an_object(1, message(b"\1"), time=2**63), "out of range"),
        (b"junk between", "no object"),
        (b"LOBJ" + bytes(12), "an object of 0 bytes"),
        (b"LOBJ" + b"\xff" * 12, "an object of 4294967295 bytes"),
    ],
)
def test_a_damaged_object_is_kept_with_its_reason_and_the_rest_is_read(damaged: bytes, reason: str) -> None:
    for wrap in (container, lambda objects: objects):
        table = blf_table(blf_file([wrap(GOOD + damaged + GOOD)], 3))
        assert len(table) == 2 and reason in table.bad_lines[0].reason


def test_a_container_that_unpacks_without_end_is_not_followed() -> None:
    table = blf_table(blf_file([container(bytes(100_000_000)), container(GOOD)], 1))
    assert len(table) == 1 and "damaged container" in table.bad_lines[0].reason


# --- packet captures


def socketcan(word: int, data: bytes, *, fd_flags: int = 0, size: int | None = None, order: str = ">") -> bytes:
    return struct.pack(order + "IBBxx", word, len(data) if size is None else size, fd_flags) + data


@pytest.mark.parametrize(
    ("frame", "expected"),
    [
        (socketcan(0x7E8, b"\1\2"), (0x7E8, FrameFlag(0), "0102", 2)),
        (socketcan(0x98DAF110, b"\1"), (0x18DAF110, EXT, "01", 1)),
        (socketcan(0x7E8, b"\1\2" + bytes(6), size=2), (0x7E8, FrameFlag(0), "0102", 2)),
        (socketcan(0x400007E8, b"", size=8), (0x7E8, FrameFlag.REMOTE, "", 8)),
        (socketcan(0x20000004, bytes(8)), (4, FrameFlag.ERROR, "00" * 8, 8)),
        (socketcan(0x7E8, bytes(12), fd_flags=5), (0x7E8, FD | BRS, "00" * 12, 12)),
        (socketcan(0x7E8, bytes(12), fd_flags=2), (0x7E8, FD | ESI, "00" * 12, 12)),
        (socketcan(0x7E8, b"\1" + bytes(63), size=1), (0x7E8, FD, "01", 1)),
    ],
)
def test_a_socketcan_frame_is_read(frame: bytes, expected: tuple[int, FrameFlag, str, int]) -> None:
    content = read_frame(frame, "big")
    assert (content.can_id, content.flags, content.data.hex(), content.length) == expected


@pytest.mark.parametrize(
    ("frame", "reason"),
    [
        (b"\0\0\7\xe8", "too few"),
        (socketcan(0x7E8, b"\1", size=3), "3 bytes announced, 1 there"),
        (socketcan(0x7E8, bytes(9)), "no size"),
        (socketcan(0x800, b"\1"), "at most 7FF"),
        (socketcan(0x7E8, bytes(16), size=0x80), "CAN XL"),
    ],
)
def test_bytes_that_are_no_socketcan_frame_are_refused(frame: bytes, reason: str) -> None:
    with pytest.raises(Refused, match=reason):
        read_frame(frame, "big")


def test_the_byte_order_of_ids_is_told_from_many_frames() -> None:
    words = [0x7E0, 0x7E8, 0x123, 0x98DAF110, 0x012]
    assert byte_order([socketcan(word, bytes(8)) for word in words]) == "big"
    assert byte_order([socketcan(word, bytes(8), order="<") for word in words]) == "little"
    assert byte_order([]) == "big"


def classic_pcap(frames: Iterable[bytes], link_type: int = 227, magic: bytes = b"\xd4\xc3\xb2\xa1") -> bytes:
    order = "<" if magic[0] in (0xD4, 0x4D) else ">"
    parts = [magic + struct.pack(order + "HHiIII", 2, 4, 0, 0, 65535, link_type)]
    for number, frame in enumerate(frames):
        parts.append(struct.pack(order + "IIII", 1_700_000_000, number, len(frame), len(frame)) + frame)
    return b"".join(parts)


def pcap_table(content: bytes) -> FrameTable:
    return join_tables(list(pcap.read([content])))


FRAME = socketcan(0x7E8, b"\2\x50\3")


@pytest.mark.parametrize(
    ("magic", "unit"),
    [(b"\xa1\xb2\xc3\xd4", 1000), (b"\xd4\xc3\xb2\xa1", 1000), (b"\xa1\xb2\x3c\x4d", 1), (b"\x4d\x3c\xb2\xa1", 1)],
)
def test_both_byte_orders_and_units_of_pcap_are_read(magic: bytes, unit: int) -> None:
    table = pcap_table(classic_pcap([FRAME, FRAME], magic=magic))
    assert (table.time_ns - 1_700_000_000 * 10**9).tolist() == [0, unit] and table.time_kind is TimeKind.ABSOLUTE


def test_cooked_packets_say_the_direction_and_hide_other_interfaces() -> None:
    def cooked(kind: int, protocol: int, frame: bytes) -> bytes:
        return struct.pack(">HHH8sH", kind, 280, 0, b"", protocol) + frame

    def cooked_2(kind: int, protocol: int, frame: bytes) -> bytes:
        return struct.pack(">HHIHBB8s", protocol, 0, 7, 280, kind, 0, b"") + frame

    fd = socketcan(0x7E8, bytes(8))
    packets = [(0, 0x0C, FRAME), (4, 0x0C, FRAME), (0, 0x0D, fd), (0, 0x0800, b"\x45" * 40)]
    table = pcap_table(classic_pcap([cooked(*each) for each in packets], link_type=113))
    assert table.flags.tolist() == [RX, TX, RX | FD] and any(
        "diagnostics over Ethernet: 1" in note for note in table.notes
    )
    table = pcap_table(classic_pcap([cooked_2(*each) for each in packets], link_type=276))
    assert table.flags.tolist() == [RX, TX, RX | FD] and table.channels == ("if7",)


def test_a_capture_of_another_interface_is_refused_by_its_link_type(tmp_path: Path) -> None:
    path = tmp_path / "capture.pcap"
    path.write_bytes(classic_pcap([bytes(60)] * 3, link_type=105))
    with pytest.raises(CaptureError, match="link type 105"):
        read_capture(path)


@pytest.mark.parametrize("cut", [1, 5, 19])
def test_a_cut_pcap_file_gives_the_frames_before_the_cut(cut: int) -> None:
    content = classic_pcap([FRAME] * 10)
    table = pcap_table(content[:-cut])
    assert len(table) == 9 and table.bad_lines[0].line == 10 and "damaged after record 9" in table.notes[-1]


def block(kind: int, body: bytes, order: str) -> bytes:
    body += bytes(-len(body) % 4)
    return struct.pack(order + "II", kind, len(body) + 12) + body + struct.pack(order + "I", len(body) + 12)


def option(code: int, value: bytes, order: str) -> bytes:
    return struct.pack(order + "HH", code, len(value)) + value + bytes(-len(value) % 4)


@pytest.mark.parametrize("order", ["<", ">"])
def test_pcapng_names_interfaces_directions_units_and_losses(order: str) -> None:
    section = block(0x0A0D0D0A, struct.pack(order + "IHHq", 0x1A2B3C4D, 1, 0, -1), order)
    named = struct.pack(order + "HHI", 227, 0, 0) + option(2, b"can3", order) + option(9, b"\x09", order)
    binary = (
        struct.pack(order + "HHI", 227, 0, 0)
        + option(9, b"\x8a", order)
        + option(14, struct.pack(order + "q", 100), order)
    )

    def packet(interface: int, count: int, *options: bytes) -> bytes:
        head = struct.pack(order + "IIIII", interface, count >> 32, count & 0xFFFFFFFF, len(FRAME), len(FRAME))
        return block(6, head + FRAME + bytes(-len(FRAME) % 4) + b"".join(options), order)

    outbound = option(2, struct.pack(order + "I", 2), order)
    content = (
        section + block(1, named, order) + block(1, binary, order)
        + packet(0, 1_700_000_000_123_456_789, option(2, struct.pack(order + "I", 1), order))
        + packet(1, 1024 * 5 + 512, outbound, option(4, struct.pack(order + "Q", 3), order))
        + block(2, struct.pack(order + "HHIIII", 0, 0, 0, 5, len(FRAME), len(FRAME)) + FRAME, order)
        + block(3, struct.pack(order + "I", len(FRAME)) + FRAME, order)
        + block(5, struct.pack(order + "III", 0, 0, 0) + option(5, struct.pack(order + "Q", 2), order), order)
        + packet(9, 0)
    )  # fmt: skip
    table = pcap_table(content)
    assert table.time_ns.tolist() == [1_700_000_000_123_456_789, 105_500_000_000, 5, 5]
    assert [frame.channel for frame in table] == ["can3", "bus", "can3", "can3"]
    assert table.flags.tolist() == [RX, TX, 0, 0]
    assert [(drop.line, drop.frames) for drop in table.drops] == [(2, 3), (4, 2)]
    assert [(bad.line, bad.reason) for bad in table.bad_lines] == [
        (5, "a packet of an interface that is not described")
    ]


# --- SQLite


def database(path: Path, rows: Iterable[tuple[object, ...]], table: str = "") -> Path:
    columns = "ts REAL, arbitration_id INTEGER, extended INTEGER, remote INTEGER, error INTEGER, dlc INTEGER, data BLOB"
    with sqlite3.connect(path) as connection:
        connection.execute(table or f"CREATE TABLE messages ({columns})")
        if not table:
            connection.executemany("INSERT INTO messages VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
    connection.close()
    return path


def test_rows_of_an_sqlite_file_are_frames_or_damage(tmp_path: Path) -> None:
    good = (1_700_000_000.123456, 0x7E0, 0, 0, 0, 3, b"\2\x10\3")
    bad: list[tuple[object, ...]] = [
        (1.0, 0x800, 0, 0, 0, 1, b"\1"), (1.0, 0x7E0, 0, 0, 0, 3, b"\1"), (1.0, 0x7E0, 0, 0, 0, 9, bytes(9)),
        ("soon", 0x7E0, 0, 0, 0, 1, b"\1"), (1.0, "id", 0, 0, 0, 1, b"\1"), (1.0, 0x7E0, 0, 0, 0, 1, "text"),
        (1e300, 0x7E0, 0, 0, 0, 1, b"\1"),
    ]  # fmt: skip
    path = database(tmp_path / "log.db", [good, *bad, (2.0, 0, 0, 0, 1, 0, None), (2.5, 0x123, 0, 1, 0, 8, None)])
    table = read_capture(path).frames()
    assert table.time_ns.tolist() == [1_700_000_000_123_456_000, 2_000_000_000, 2_500_000_000]
    assert table.flags.tolist() == [0, FrameFlag.ERROR, FrameFlag.REMOTE]
    assert [each.line for each in table.bad_lines] == list(range(2, 9)) and table.line.tolist() == [1, 9, 10]


def test_an_sqlite_file_of_something_else_is_refused(tmp_path: Path) -> None:
    other = database(tmp_path / "other.db", [], "CREATE TABLE prices (id INTEGER)")
    with pytest.raises(CaptureError, match="binary data"):
        read_capture(other)
    rows_without_end = "WITH RECURSIVE x(arbitration_id) AS (SELECT 1 UNION ALL SELECT 1 FROM x) SELECT * FROM x"
    endless = f"CREATE VIEW messages AS {rows_without_end}"
    view = database(tmp_path / "view.db", [], endless)
    with pytest.raises(CaptureError, match=r"view.db: an SQLite file without a plain table") as refusal:
        read_capture(view).frames()
    assert refusal.value.hint


def test_the_last_page_of_a_cut_sqlite_file_is_not_read_as_zeros(tmp_path: Path) -> None:
    rows = [(float(at), 0x7E0, 0, 0, 0, 8, bytes([at % 255 + 1] * 8)) for at in range(2000)]
    path = database(tmp_path / "log.db", rows)
    content = path.read_bytes()
    path.write_bytes(content[:-1000])
    table = read_capture(path).frames()
    assert 1000 < len(table) < 2000 and all(frame.data == rows[at][6] for at, frame in enumerate(table))
    assert "damaged" in table.bad_lines[-1].reason and any("cut" in note for note in table.notes)


# --- MF4


def small_mf4(path: Path) -> Path:
    with can.MF4Writer(path) as writer:
        for at in range(20):
            writer.on_message_received(can.Message(timestamp=1_700_000_000 + at, arbitration_id=0x7E0, data=[at]))
    return path


def test_a_missing_library_for_mf4_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mf4, "find_spec", lambda name: None)
    with pytest.raises(CaptureError, match=r"x.mf4: an MF4 file, for which a library is missing") as refusal:
        read_capture(small_mf4(tmp_path / "x.mf4")).frames()
    assert "asammdf" in refusal.value.hint


def test_a_library_that_crashes_takes_only_the_file_with_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    crash = tmp_path / "crash.py"
    crash.write_text("import os, signal\nos.kill(os.getpid(), signal.SIGSEGV)\n")
    monkeypatch.setattr(sys, "executable", str(tmp_path / "python"))
    (tmp_path / "python").write_text(f"#!/bin/sh\nexec {sys.prefix}/bin/python {crash}\n")
    (tmp_path / "python").chmod(0o755)
    with pytest.raises(CaptureError, match="crashed or took too long"):
        read_capture(small_mf4(tmp_path / "x.mf4")).frames()


def test_a_reading_of_mf4_that_nobody_goes_on_with_ends_its_process(tmp_path: Path) -> None:
    chunks = read_capture(small_mf4(tmp_path / "x.mf4")).chunks()
    assert len(next(chunks)) == 20
    chunks.close()
