"""Any bytes give frames or a CaptureError, nothing else; and every line is accounted for."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canlog.capture.lines import Damaged
from canlog.capture.registry import FORMATS, CaptureFormat
from canlog.errors import CaptureError
from canlog.frames import FrameTable, join_tables
from canlog.read import read_capture
from canlog.survey import survey

#: Pieces that come near to each form, so that random text gets past the first token.
PIECES = st.sampled_from(
    [
        b"(1436509052.249713) ", b"(000.000100) ", b"(2024-03-05 10:11:12.123456) ", b"(99999999999.1) ",
        b"(1.0000000000) ", b"can0 ", b"vcan0  ", b"7E0", b"000007E8", b"20000004", b"FFFFFFFF", b"45123", b"7E",
        b"#", b"##", b"##1", b"#R", b"R8_9", b"021003", b"0210030000000000", b"1122334455667788_E", b"11.22", b"0",
        b" [8] ", b" [08] ", b" [64] ", b"{9} ", b"8 ", b"02 10 03 ", b"33`22`11", b"remote request", b"ERRORFRAME",
        b" '.~.'", b" R", b" T", b" RX B E ", b"\x1b[31m",
        b"DROPCOUNT: dropped 12 CAN frames on 'can0' socket (total drops 12)",
        b"date Thu, 09 Nov 2023 20:36:33 GMT\n", b"base hex  timestamps relative\n", b"base dec\n",
        b"0.153600 1  ", b"0,15 ", b"-0.1 ", b"7E0x ", b"Rx   d 8 ", b"Tx r ", b"Rx d 9 ", b"CANFD 1 Rx 7E8 ",
        b"1 0 f 64 ", b"ErrorFrame", b"0 1000 0 ", b"200000 ", b"Time Stamp,ID,Extended,Bus,LEN,D1,D2\n",
        b"time;id;data\n", b"1000,000007E0,false,0,2,11,22\n", b"-12,", b"true,", b",,,,", b"99999999999999999999,",
        b"\n", b"\r\n", b"\r", b"\t", b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\xe4", b" ",
    ]
)  # fmt: skip
TEXT = st.lists(PIECES | st.binary(max_size=6), max_size=60).map(b"".join)

#: A few sound lines of each form, to be damaged.
SOUND = [
    b"(1436509052.249713) vcan0 044#2A366C2BBA\n(1436509052.350000) vcan0 7E8##1021003 R\n" * 3,
    b" (1436509052.249713)  vcan0  044   [5]  2A 36 6C 2B BA\n (1436509052.3)  can0  7E8  [02]  03 50\n" * 3,
    b"base hex  timestamps absolute\n0.1 1  7E0  Rx  d 2 02 10\n0.2 CANFD 1 Rx 7E8 1 0 2 2 02 10 0 0 1000\n" * 3,
    b"Time Stamp,ID,Extended,Bus,LEN,D1,D2\n" + b"1000,000007E0,false,0,2,11,22\n2000,18DAF110,true,1,1,7E\n" * 3,
]


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    """A sound capture with bytes changed, cut out and put in."""
    content = bytearray(draw(st.sampled_from(SOUND)))
    for _ in range(draw(st.integers(1, 12))):
        at = draw(st.integers(0, len(content)))
        content[at : at + draw(st.integers(0, 8))] = draw(PIECES | st.binary(max_size=3))
    return bytes(content)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    yield tmp_path_factory.mktemp("fuzz") / "bytes.log"


@settings(max_examples=400)
@given(content=damaged() | TEXT | st.binary(max_size=300))
def test_any_bytes_give_frames_or_a_capture_error(place: Path, content: bytes) -> None:
    place.write_bytes(content)
    try:
        capture = read_capture(place)
    except CaptureError as error:
        assert str(error) and error.hint and "\n" not in str(error)
        return
    surveyed = survey(capture)
    table = capture.frames()
    assert surveyed.summary.frames == len(table) > 0
    check_table(table)


@pytest.mark.parametrize("reader", FORMATS, ids=lambda reader: reader.NAME)
@settings(max_examples=300)
@given(content=damaged() | TEXT, size=st.integers(1, 50))
def test_a_reader_given_bytes_of_another_form_only_counts_damage(
    reader: CaptureFormat, content: bytes, size: int
) -> None:
    blocks = [content[at : at + size] for at in range(0, len(content), size)]
    try:
        tables = list(reader.read(blocks))
    except Damaged:
        assert reader.NAME == "csv"  # without its header there is nothing to read: recognise() says so before
        assert reader.recognise(blocks[0] if blocks else b"") == 0
        return
    except CaptureError as error:
        assert reader.NAME in ("mf4", "sqlite") and error.hint  # read whole by a library, or not at all
        return
    check_table(join_tables(tables))


def check_table(table: FrameTable) -> None:
    """No frame is impossible, and lines are where they are said to be."""
    for frame in table:
        assert 0 <= frame.can_id <= (0x1FFFFFFF if frame.flags & (1 | 32) else 0x7FF)
        assert frame.length <= (64 if frame.flags & 2 else 8)
        assert frame.flags & 16 or len(frame.data) == frame.length
        assert 1 <= frame.line <= table.lines_read
    assert all(1 <= bad.line <= table.lines_read and bad.reason for bad in table.bad_lines)
    frame_lines, bad_lines = set(table.line.tolist()), [bad.line for bad in table.bad_lines]
    assert not frame_lines & set(bad_lines) and len(set(bad_lines)) == len(bad_lines)
