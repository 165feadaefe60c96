"""Readers of the other forms against python-can 4.6.1 and scapy 2.8.0: the same frames on clean files, and each
known difference by name.

python-can's and scapy's readers are right on clean input only; a new version of them that changes shows up here.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import can
import pytest
from scapy.layers.can import CAN  # type: ignore[import-untyped, unused-ignore]
from scapy.utils import rdpcap, wrpcap  # type: ignore[import-untyped, unused-ignore]
from test_python_can_readers import as_row, messages, our_row

from canlog.capture import slcan, trc
from canlog.frames import Frame, FrameFlag, join_tables
from canlog.read import read_capture

SEEDS = range(3)


def kinds(seed: int, *, fd: bool = True, remote: bool = True, errors: bool = False) -> list[can.Message]:
    return [
        message
        for message in messages(seed, errors=errors)
        if (fd or not message.is_fd) and (remote or not message.is_remote_frame)
    ]


def written(writer: Callable[..., Any], path: Path, frames: list[can.Message], **options: Any) -> Path:
    with writer(path, **options) as log:
        for message in frames:
            log.on_message_received(message)
    return path


def rows(path: Path) -> list[tuple[Any, ...]]:
    """Ours, with the time rounded to the microsecond as theirs is."""
    return [(*our_row(frame)[:3], round(frame.time_ns / 1000)) for frame in read_capture(path).frames()]


def without_time(all_rows: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    return [row[:3] for row in all_rows]


@pytest.mark.parametrize("seed", SEEDS)
def test_a_blf_file_is_read_the_same(tmp_path: Path, seed: int) -> None:
    path = written(can.BLFWriter, tmp_path / "clean.blf", kinds(seed), max_container_size=3000)
    with can.BLFReader(path) as reader:
        theirs = list(reader)
    table = read_capture(path).frames()
    assert rows(path) == [as_row(message) for message in theirs] and len(table) == 400
    assert [frame.channel for frame in table] == [str(message.channel + 1) for message in theirs]
    assert [bool(frame.flags & FrameFlag.RECEIVED) for frame in table] == [message.is_rx for message in theirs]
    assert not table.bad_lines and table.line.tolist() == list(range(1, 401))


@pytest.mark.parametrize("level", [-1, 0, 9])
def test_a_blf_file_may_be_stored_or_packed(tmp_path: Path, level: int) -> None:
    path = written(can.BLFWriter, tmp_path / "clean.blf", kinds(1), compression_level=level)
    assert len(read_capture(path).frames()) == 400


def test_a_cut_blf_file_is_passed_over_in_silence_there_and_told_here(tmp_path: Path) -> None:
    content = written(can.BLFWriter, tmp_path / "clean.blf", kinds(2), max_container_size=3000).read_bytes()
    path = tmp_path / "cut.blf"
    for cut in (len(content) // 2, len(content) - 100, len(content) * 9 // 10):
        path.write_bytes(content[:cut])
        with can.BLFReader(path) as reader:
            n_theirs = len(list(reader))
        table = read_capture(path).frames()
        assert 400 > len(table) >= n_theirs  # a container cut short is sound up to the cut
        assert table.bad_lines and "400 objects" in table.bad_lines[-1].reason


def test_an_error_frame_of_a_blf_file_is_one_here_too(tmp_path: Path) -> None:
    path = written(can.BLFWriter, tmp_path / "errors.blf", kinds(3, errors=True))
    assert read_capture(path).frames()[400].flags == FrameFlag.ERROR


@pytest.mark.parametrize("seed", SEEDS)
def test_a_trc_file_is_read_the_same_but_for_the_time_of_its_start(tmp_path: Path, seed: int) -> None:
    path = written(can.TRCWriter, tmp_path / "clean.trc", kinds(seed, fd=False, remote=False))
    with can.TRCReader(path) as reader:
        theirs = [as_row(message) for message in reader]
    ours = rows(path)
    assert without_time(ours) == without_time(theirs) and len(ours) > 200
    for (*_, our_us), (*_, their_us) in zip(ours, theirs, strict=True):
        assert abs((our_us - ours[0][3]) - (their_us - theirs[0][3])) <= 1  # floating point there


def test_trc_version_1_2_and_the_type_of_a_line_are_known_here_only(tmp_path: Path) -> None:
    path = tmp_path / "old.trc"
    path.write_text(";$FILEVERSION=1.2\n1) 1.0 1 Rx 0300 1 3E\n")
    with can.TRCReader(path) as reader, pytest.raises(ValueError):
        list(reader)
    assert len(read_capture(path).frames()) == 1
    header = b";$FILEVERSION=2.1\n;$COLUMNS=N,O,T,B,I,d,R,L,D\n"
    error = header + b"1 1.0 ER 1 - Rx - 5 01 02 03 04 05\n2 1.1 DT 1 0300 Rx - 1 3E\n"
    path.write_bytes(error)
    with can.TRCReader(path) as reader:
        assert len(list(reader)) == 1
    assert [frame.flags for frame in join_tables(list(trc.read([error])))] == [FrameFlag.ERROR, FrameFlag.RECEIVED]


def test_a_length_code_of_a_trc_fd_line_is_a_length_here(tmp_path: Path) -> None:
    path = tmp_path / "fd.trc"
    path.write_text(";$FILEVERSION=2.1\n;$COLUMNS=N,O,T,B,I,d,R,L,D\n1 1.0 FD 1 0300 Rx - 9 " + "00 " * 12 + "\n")
    with can.TRCReader(path) as reader:
        (message,) = reader
    assert (message.dlc, len(message.data)) == (9, 12)
    assert read_capture(path).frames()[0].length == 12


@pytest.mark.parametrize("seed", SEEDS)
def test_a_csv_file_is_read_the_same(tmp_path: Path, seed: int) -> None:
    path = written(can.CSVWriter, tmp_path / "clean.csv", kinds(seed, fd=False))
    with can.CSVReader(path) as reader:
        theirs = [as_row(message) for message in reader]
    assert rows(path) == theirs and len(theirs) > 200


@pytest.mark.parametrize("seed", SEEDS)
def test_an_sqlite_file_is_read_the_same(tmp_path: Path, seed: int) -> None:
    path = written(can.SqliteWriter, tmp_path / "clean.db", kinds(seed, fd=False))
    theirs = [as_row(message) for message in can.SqliteReader(path)]
    assert rows(path) == theirs and len(theirs) > 200


def test_an_mf4_file_is_read_the_same(tmp_path: Path) -> None:
    path = written(can.MF4Writer, tmp_path / "clean.mf4", kinds(0, errors=True))
    with can.MF4Reader(path) as reader:
        theirs = list(reader)
    table = read_capture(path).frames()
    assert rows(path)[:-1] == [as_row(message) for message in theirs[:-1]] and len(table) == 401
    assert theirs[-1].is_error_frame and table[400].flags == FrameFlag.ERROR
    assert [frame.channel for frame in table] == [str(message.channel) for message in theirs]


@pytest.mark.parametrize("order", ["<", ">"], ids=["little", "big"])
def test_a_packet_capture_is_read_the_same_as_by_scapy(tmp_path: Path, order: str) -> None:
    """scapy writes and reads the identifiers as LINKTYPE_CAN_SOCKETCAN asks: big endian."""
    path = tmp_path / "clean.pcap"
    packets = []
    for message in kinds(4, fd=False, remote=False):
        packet = CAN(flags="extended" if message.is_extended_id else "", identifier=message.arbitration_id,
                     length=len(message.data), data=bytes(message.data))  # fmt: skip
        packet.time = round(message.timestamp * 1e6) / 1e6
        packets.append(packet)
    wrpcap(str(path), packets, linktype=227, endianness=order)
    theirs = [
        (packet.identifier, int("extended" in str(packet.flags)), bytes(packet.data), round(float(packet.time) * 1e6))
        for packet in rdpcap(str(path))
    ]
    assert rows(path) == theirs and len(theirs) > 200


def test_ids_stored_low_byte_first_are_seen_here_and_read_wrong_there(tmp_path: Path) -> None:
    path = tmp_path / "wrong.pcap"
    frame = struct.pack("<IB3x8s", 0x7E8, 3, bytes.fromhex("0250030000000000"))
    record = struct.pack("<IIII", 1_700_000_000, 5, len(frame), len(frame)) + frame
    path.write_bytes(struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 227) + record * 5)
    assert rdpcap(str(path))[0].identifier == 0x08070000
    table = read_capture(path).frames()
    assert {frame.can_id for frame in table} == {0x7E8} and any("low byte first" in note for note in table.notes)


class _Port(io.BytesIO):
    """A serial port that keeps what is sent."""

    write_timeout = None


def test_serial_lines_are_those_that_python_can_sends(monkeypatch: pytest.MonkeyPatch) -> None:
    from can.interfaces.slcan import slcanBus

    port = _Port()
    bus = slcanBus.__new__(slcanBus)
    monkeypatch.setattr(bus, "serialPortOrig", port, raising=False)
    frames = kinds(5)
    for message in frames:
        bus.send(message)
    bus._is_shutdown = True
    table = join_tables(list(slcan.read([port.getvalue()])))
    assert not table.bad_lines
    ours: list[Frame] = list(table)
    assert [our_row(frame)[:3] for frame in ours] == [
        (message.arbitration_id, as_row(message)[1] & ~FrameFlag.ESI, bytes(message.data)) for message in frames
    ]
