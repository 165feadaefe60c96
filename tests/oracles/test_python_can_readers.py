"""Our readers against python-can 4.6.1: the same frames on clean files, and each known difference by name.

python-can's readers are right on clean input only. Where they differ from us, the line is here with what
python-can makes of it and why we do otherwise; so a new version of it that changes shows up.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import can
import pytest
from can.io.asc import ASCReader, ASCWriter
from can.io.canutils import CanutilsLogReader, CanutilsLogWriter

from canlog.capture import asc, candump_log
from canlog.frames import Frame, FrameFlag, FrameTable, join_tables
from canlog.read import read_capture

REAL = Path(__file__).parents[2] / "fixtures" / "real"
FD_SIZES = (*range(9), 12, 16, 20, 24, 32, 48, 64)


def messages(seed: int, *, errors: bool = False) -> Iterator[can.Message]:
    """Frames of every kind with rising times, whole microseconds."""
    rnd = random.Random(seed)
    time_us = 1_700_000_000_000_000
    for _ in range(400):
        time_us += rnd.randrange(1, 5000)
        extended, fd = rnd.random() < 0.4, rnd.random() < 0.3
        remote = not fd and rnd.random() < 0.1
        size = rnd.choice(FD_SIZES[1:]) if fd else rnd.randrange(9)
        yield can.Message(
            timestamp=time_us / 1e6,
            channel=rnd.randrange(3),
            arbitration_id=rnd.randrange(2**29 if extended else 2**11),
            is_extended_id=extended,
            is_fd=fd,
            bitrate_switch=fd and rnd.random() < 0.5,
            error_state_indicator=fd and rnd.random() < 0.2,
            is_remote_frame=remote,
            dlc=size,
            data=b"" if remote else rnd.randbytes(size),
            is_rx=rnd.random() < 0.7,
        )
    if errors:
        yield can.Message(timestamp=(time_us + 10) / 1e6, channel=0, is_error_frame=True)


def as_row(message: can.Message) -> tuple[Any, ...]:
    flags = (
        (message.is_extended_id and FrameFlag.EXTENDED)
        | (message.is_fd and FrameFlag.FD)
        | (message.bitrate_switch and FrameFlag.BRS)
        | (message.error_state_indicator and FrameFlag.ESI)
        | (message.is_remote_frame and FrameFlag.REMOTE)
    )
    return message.arbitration_id, int(flags), bytes(message.data), round(message.timestamp * 1e6)


def our_row(frame: Frame) -> tuple[Any, ...]:
    flags = frame.flags & ~(FrameFlag.RECEIVED | FrameFlag.SENT)
    return frame.can_id, int(flags), frame.data, frame.time_ns // 1000


@pytest.mark.parametrize("seed", range(3))
def test_a_log_written_and_read_by_python_can_is_read_the_same(tmp_path: Path, seed: int) -> None:
    path = tmp_path / "clean.log"
    with CanutilsLogWriter(path) as writer:
        for message in messages(seed):
            writer.on_message_received(message)
    with CanutilsLogReader(path) as reader:
        theirs = list(reader)
    ours = list(read_capture(path).frames())
    assert [our_row(frame) for frame in ours] == [as_row(message) for message in theirs]
    assert [frame.channel for frame in ours] == [message.channel for message in theirs]
    assert [bool(frame.flags & FrameFlag.RECEIVED) for frame in ours] == [message.is_rx for message in theirs]
    assert len(ours) == 400


@pytest.mark.parametrize("seed", range(3))
def test_an_asc_file_written_and_read_by_python_can_is_read_the_same(tmp_path: Path, seed: int) -> None:
    path = tmp_path / "clean.asc"
    with ASCWriter(path) as writer:
        for message in messages(seed):
            writer.on_message_received(message)
    with ASCReader(path) as reader:
        theirs = list(reader)
    table = read_capture(path).frames()
    assert not table.bad_lines
    assert [our_row(frame) for frame in table] == [as_row(message) for message in theirs]
    assert [frame.length for frame in table] == [message.dlc for message in theirs]
    assert [int(frame.channel) - 1 for frame in table] == [message.channel for message in theirs]
    assert len(table) == 400


@pytest.mark.parametrize("name", ["ev_bms_2.asc", "ev_bms_3.asc", "ev_bms_7.asc", "ev_bms_9.asc"])
def test_a_real_asc_file_is_read_the_same_but_for_the_frame_that_python_can_loses(name: str) -> None:
    """Its header has no line on internal events, and then python-can takes the first frame for a header line."""
    with ASCReader(REAL / name) as reader:
        theirs = [as_row(message) for message in reader]
    ours = [our_row(frame) for frame in read_capture(REAL / name).frames()]
    assert ours[-len(theirs) :] == theirs
    assert len(ours) - len(theirs) in (0, 1)


class Known(NamedTuple):
    """A line that the two read differently."""

    name: str
    line: str
    theirs: tuple[Any, ...] | str  # id, flags, data, microseconds; or the name of the exception that ends the file
    ours: tuple[Any, ...] | str  # the same; or words of the reason why it is no frame
    reason: str


EXT, FD, BRS, ESI = FrameFlag.EXTENDED.value, FrameFlag.FD.value, FrameFlag.BRS.value, FrameFlag.ESI.value
REMOTE, ERROR, S = FrameFlag.REMOTE.value, FrameFlag.ERROR.value, 1_000_000

LOG_DIFFERENCES = [
    Known("controller error", "(1.000000) can0 20000004#0001000000000000", (4, EXT, b"\0\1\0\0\0\0\0\0", S),
          (4, ERROR, b"\0\1\0\0\0\0\0\0", S), "bit 29 marks an error frame (linux/can.h), whatever its class"),
    Known("bus off", "(1.000000) can0 20000040#0000000000000000", (0x40, EXT, bytes(8), S),
          (0x40, ERROR, bytes(8), S), "as above"),
    Known("bus error", "(1.000000) can0 20000080#0000000000000000", (0, EXT, b"", S), (0x80, ERROR, bytes(8), S),
          "the class, the channel and the data of an error frame are evidence"),
    Known("FD flags above 9", "(1.000000) can0 123##F1122", "ValueError", (0x123, FD | BRS | ESI, b"\x11\x22", S),
          "the flags are one hex digit (lib.h)"),
    Known("remote with raw DLC", "(1.000000) can0 123#R8_9", (0x123, REMOTE, b"", S), (0x123, REMOTE, b"", S),
          "only the length differs: 8 here, 89 there"),
    Known("raw DLC", "(1.000000) can0 123#1122334455667788_E", "ValueError",
          (0x123, 0, bytes.fromhex("1122334455667788"), S), "a raw DLC stands behind 8 bytes (lib.h)"),
    Known("CAN XL", "(1.000000) can0 45123#81:00:12345678#1122", "ValueError", "CAN XL", "kept with its reason"),
    Known("dots in the data", "(1.000000) can0 123#11.22", "ValueError", (0x123, 0, b"\x11\x22", S),
          "lib.h takes them"),
    Known("drop count", "DROPCOUNT: dropped 2 CAN frames on 'can0' socket (total drops 2)", "ValueError", "",
          "the logger's own word for lost frames must not end the file"),
    Known("comment", "# a note", "ValueError", "", "people write into logs"),
    Known("prompt", "user@bench:~$", "ValueError", "no CAN frame", "one bad line must not end the file"),
    Known("screen form", " (1.000000)  can0  123   [1]  00", "ValueError", "no CAN frame", "as above"),
    Known("no time", "can0 123#00", "ValueError", "no time", "as above"),
    Known("half a byte", "(1.000000) can0 123#035", (0x123, 0, b"\x03\x05", S),
          "whole bytes", "a cut line invents no byte"),
    Known("nine bytes", "(1.000000) can0 123#001122334455667788", (0x123, 0, bytes.fromhex("001122334455667788"), S),
          "9 bytes", "a classic frame has at most 8"),
    Known("nine FD bytes", "(1.000000) can0 123##0001122334455667788",
          (0x123, FD, bytes.fromhex("001122334455667788"), S),
          "no size", "no DLC means 9 bytes (ISO 11898-1)"),
    Known("four digits", "(1.000000) can0 07E8#00", (0x7E8, EXT, b"\0", S), (0x7E8, 0, b"\0", S),
          "up to 7FF without 8 digits: 11 bit is likelier, and noted"),
    Known("time without parentheses", "1.000000 can0 123#00", (0x123, 0, b"\0", 0), "no CAN frame",
          "first and last character are not cut off blindly"),
    Known("cut time", "11.249713) can0 123#00", (0x123, 0, b"\0", 1249713), "no CAN frame", "a cut line is no frame"),
    Known("trailing text", "(1.000000) can0 123#00 '.'", "ValueError", "no CAN frame", "kept with its reason"),
    Known("splice", "(1.000000) can0 123#00(1.000100) can0 124#00", "ValueError", "spliced", "kept with its reason"),
]  # fmt: skip


def read_ours(text: str) -> FrameTable:
    return join_tables(list(candump_log.read([text.encode()])))


@pytest.mark.parametrize("known", LOG_DIFFERENCES, ids=lambda known: known.name)
def test_a_known_difference_of_the_log_readers_is_as_described(tmp_path: Path, known: Known) -> None:
    path = tmp_path / "one.log"
    path.write_text(known.line + "\n")
    with CanutilsLogReader(path) as reader:
        if isinstance(known.theirs, str):
            with pytest.raises(ValueError) as error:
                list(reader)
            assert type(error.value).__name__ == known.theirs
        else:
            (message,) = reader
            assert as_row(message) == known.theirs
    good = "(1.000000) can0 100#00\n"
    table = read_ours(good + known.line + "\n" + good)
    assert table.line.tolist()[:: len(table) - 1] == [1, 3]
    if isinstance(known.ours, str):
        reasons = [bad.reason for bad in table.bad_lines]
        assert len(table) == 2 and len(reasons) == bool(known.ours)
        assert not reasons or known.ours in reasons[0]
    else:
        assert our_row(table[1]) == known.ours and not table.bad_lines
    assert known.reason


def test_a_remote_frame_with_raw_dlc_has_length_8_here_and_89_there(tmp_path: Path) -> None:
    path = tmp_path / "one.log"
    path.write_text("(1.000000) can0 123#R8_9\n")
    with CanutilsLogReader(path) as reader:
        assert next(iter(reader)).dlc == 89
    assert read_capture(path).frames()[0].length == 8


def test_nanoseconds_are_kept_here_and_rounded_there(tmp_path: Path) -> None:
    path = tmp_path / "one.log"
    path.write_text("(1436509052.249713123) can0 123#00\n")
    with CanutilsLogReader(path) as reader:
        assert f"{next(iter(reader)).timestamp:.9f}" != "1436509052.249713123"
    assert read_capture(path).frames()[0].time_ns == 1436509052249713123


HEADER = "date Thu Nov 9 20:36:33 2023\nbase hex  timestamps absolute\ninternal events logged\n"


@pytest.mark.parametrize("header", ["", "base hex  timestamps absolute\n"], ids=["none", "without its last line"])
def test_a_short_asc_header_costs_the_first_frame_there_and_none_here(tmp_path: Path, header: str) -> None:
    path = tmp_path / "one.asc"
    path.write_text(header + "0.001000 1  7E0  Rx  d 2 02 10\n")
    with ASCReader(path) as reader:
        assert not list(reader)
    assert len(read_capture(path).frames()) == 1


class AscKnown(NamedTuple):
    """An ASC line that the two read differently; a row is id, flags with direction, length, data, microseconds."""

    name: str
    line: str
    theirs: tuple[Any, ...] | str
    ours: tuple[Any, ...] | str
    reason: str


RX, TX = FrameFlag.RECEIVED.value, FrameFlag.SENT.value
EIGHT = bytes.fromhex("0210030000000000")

ASC_LINES = [
    AscKnown("lower-case direction", "0.001000 1  7E0  rx  d 2 02 10", (0x7E0, TX, 2, b"\x02\x10", 1000),
             (0x7E0, RX, 2, b"\x02\x10", 1000), "rx is a frame received"),
    AscKnown("DLC 9 on a classic line", "0.001000 1  7E0  Rx  d 9 02 10 03 00 00 00 00 00",
             (0x7E0, RX, 12, EIGHT, 1000),
             (0x7E0, RX, 8, EIGHT, 1000), "DLC 9 to 15 means 8 bytes on a classic frame (ISO 11898-1)"),
    AscKnown("fewer bytes than the DLC", "0.001000 1  7E0  Rx  d 8 02 10", (0x7E0, RX, 8, b"\x02\x10", 1000),
             "8 bytes announced", "a cut line is no frame"),
    AscKnown("symbolic name", "0.001000 1  Engine  Rx  d 2 02 10", "ValueError",
             "neither a frame", "one bad line must not end the file"),
    AscKnown("decimal comma", "0,001000 1  7E0  Rx  d 2 02 10", "nothing",
             (0x7E0, RX, 2, b"\x02\x10", 1000), "a comma is a decimal sign"),
    AscKnown("FD without data", "0.001000 CANFD 1 Rx 7E0 0 0 0 0 0 0 1000 0 0 0 0 0",
             (0x7E0, RX | FD | REMOTE, 0, b"", 1000),
             (0x7E0, RX | FD, 0, b"", 1000), "CAN FD has no remote frames"),
    AscKnown("cut FD line", "0.001000 CANFD 1 Rx 7E0 0 0 9 12 02 10", (0x7E0, RX | FD, 12, b"\x02\x10", 1000),
             "12 bytes announced", "a cut line is no frame"),
]  # fmt: skip


@pytest.mark.parametrize("known", ASC_LINES, ids=lambda known: known.name)
def test_a_known_difference_of_the_asc_readers_is_as_described(tmp_path: Path, known: AscKnown) -> None:
    path = tmp_path / "one.asc"
    path.write_text(HEADER + known.line + "\n")
    with ASCReader(path) as reader:
        if known.theirs == "nothing":
            assert list(reader) == []
        elif isinstance(known.theirs, str):
            with pytest.raises(ValueError):
                list(reader)
        else:
            (message,) = reader
            can_id, flags, data, time_us = as_row(message)
            assert (can_id, flags | (RX if message.is_rx else TX), message.dlc, data, time_us) == known.theirs
    table = join_tables(list(asc.read([(HEADER + known.line + "\n").encode()])))
    if isinstance(known.ours, str):
        assert not len(table) and known.ours in table.bad_lines[0].reason
    else:
        frame = table[0]
        assert (frame.can_id, frame.flags, frame.length, frame.data, frame.time_ns // 1000) == known.ours
    assert known.reason


def test_relative_asc_stamps_are_summed_here_only(tmp_path: Path) -> None:
    path = tmp_path / "two.asc"
    path.write_text(HEADER.replace("absolute", "relative") + "0.001000 1  7E0  Rx  d 1 3E\n" * 2)
    with ASCReader(path) as reader:
        assert [round(message.timestamp * 1e6) for message in reader] == [1000, 1000]
    assert (read_capture(path).frames().time_ns // 1000).tolist() == [1000, 2000]


def test_an_error_frame_of_python_cans_asc_writer_is_an_error_frame_here(tmp_path: Path) -> None:
    path = tmp_path / "errors.asc"
    with ASCWriter(path) as writer:
        for message in messages(9, errors=True):
            writer.on_message_received(message)
    assert read_capture(path).frames()[400].flags == FrameFlag.ERROR
