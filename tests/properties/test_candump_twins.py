"""Columns and single lines give the same tables: every column, every bad line, every note.

The reader of single lines (`canlog.capture.candump_log`) is the authority; its rules have their own tests.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from canlog.capture import candump, candump_compiled, candump_log
from canlog.capture.candump_columns import MOST_NAMES, parse_columns
from canlog.capture.candump_compiled import parse_compiled
from canlog.frames import FrameTable, join_tables

ROOT = Path(__file__).parents[2]
CAPTURES = sorted((ROOT / "fixtures").glob("*/capture.log"))
COLUMNS = ("time_ns", "channel", "can_id", "flags", "length", "line", "position")
REST = ("channels", "bad_lines", "drops", "lines_read", "time_kind", "notes")

needs_compiled = pytest.mark.skipif(candump_compiled._parse is None, reason="the compiled reader is not built here")
parsers = pytest.mark.parametrize(
    "parse", [parse_columns, pytest.param(parse_compiled, marks=needs_compiled)], ids=["numpy", "compiled"]
)


def assert_equal_tables(found: Iterator[FrameTable], wanted: Iterator[FrameTable]) -> FrameTable:
    ours, theirs = join_tables(list(found)), join_tables(list(wanted))
    for name in COLUMNS:
        mine, other = getattr(ours, name), getattr(theirs, name)
        assert mine.dtype == other.dtype, name
        assert np.array_equal(mine, other), name
    for name in REST:
        assert getattr(ours, name) == getattr(theirs, name), name
    assert [ours.data(row) for row in range(len(ours))] == [theirs.data(row) for row in range(len(theirs))]
    return ours


def assert_twins(parse: candump.Parse, blocks: Sequence[bytes]) -> FrameTable:
    return assert_equal_tables(candump.read_with(parse, blocks), candump_log.read(blocks))


def cut(text: bytes, size: int) -> list[bytes]:
    return [text[at : at + size] for at in range(0, len(text), size)]


def n_by_columns(parse: candump.Parse, text: bytes) -> int:
    """How many lines do not need the reader of single lines."""
    return sum(len(piece.frames) for piece in parse(text, 1, 0))


# --- whole captures


@parsers
@pytest.mark.parametrize("size", [2**20, 70_001])
def test_every_fixture_reads_the_same(parse: candump.Parse, size: int) -> None:
    for path in CAPTURES[:: 1 if size == 2**20 else 7]:
        text = path.read_bytes()
        assert_twins(parse, cut(text, size))


@parsers
def test_usual_lines_do_not_need_the_single_reader(parse: candump.Parse) -> None:
    text = CAPTURES[0].read_bytes()
    assert n_by_columns(parse, text) == text.count(b"\n")


# --- lines of every kind


def known_lines() -> list[bytes]:
    with (ROOT / "tests" / "vectors" / "candump_lines.csv").open() as file:
        rows = [line for line in file if not line.startswith("#")]
    return [row["line"].encode() for row in csv.DictReader(rows, delimiter=";")]


USUAL = b"(1436509052.249713) vcan0 044#2A366C2BBA"
#: Each differs from the usual shape in one thing, or is the last value that still has it.
ODD = [
    b"", b" ", b"\r", b"# note", b"noise", b"DROPCOUNT: dropped 3 CAN frames on 'can0' socket (total drops 3)",
    b"(1436509052.249713) vcan0 044#2A366C2BB", b"(1436509052.249713) vcan0 044#2A366C2BBG",
    b"(1436509052.249713) vcan0 044#2a366c2bba R", b"(1436509052.249713) vcan0 044#2A t\r",
    b"(1436509052.249713) vcan0 044#2A  T", b"(1436509052.249713) vcan0 044#2A X", b"(1436509052.249713) vcan0 044# R",
    b"(1436509052.249713) vcan0 044#", b"(1436509052.249713) vcan0 044#1122334455667788",
    b"(1436509052.249713) vcan0 044#112233445566778899", b"(1436509052.249713) vcan0 044#11223344556677889",
    b"(1436509052.249713) vcan0 7FF#00", b"(1436509052.249713) vcan0 800#00", b"(1436509052.249713) vcan0 7E#00",
    b"(1436509052.249713) vcan0 1FFFFFFF#00", b"(1436509052.249713) vcan0 20000000#00",
    b"(1436509052.249713) vcan0 3FFFFFFF#00", b"(1436509052.249713) vcan0 40000000#00",
    b"(1436509052.249713) vcan0 FFFFFFFF#00", b"(1436509052.249713) vcan0 20000004##100",
    b"(1436509052.249713) vcan0 0x044#00", b"(1436509052.249713) vcan0 12345#00", b"(1436509052.249713) vcan0 G44#00",
    b"(1436509052.249713) vcan0 044##0", b"(1436509052.249713) vcan0 044##",
    b"(1436509052.249713) vcan0 044##F" + b"AB" * 64,
    b"(1436509052.249713) vcan0 044##3" + b"AB" * 12 + b" T", b"(1436509052.249713) vcan0 044##3" + b"AB" * 13,
    b"(1436509052.249713) vcan0 044##3" + b"AB" * 65, b"(1436509052.249713) vcan0 044##G00",
    b"(1436509052.249713) vcan0 044##3" + b"AB" * 11 + b"AG", b"(1436509052.249713) vcan0 044###0",
    b"(1436509052.249713123) vcan0 044#00", b"(1436509052.24971) vcan0 044#00", b"(1436509052.2497131) vcan0 044#00",
    b"(1436509052.24971A) vcan0 044#00", b"(143650905A.249713) vcan0 044#00", b"(1436509052,249713) vcan0 044#00",
    b"(9223372035.999999) vcan0 044#00", b"(9223372036.000000) vcan0 044#00", b"(9999999999.999999) vcan0 044#00",
    b"(000.000000) vcan0 044#00", b"(0.000000) vcan0 044#00", b"(11436509052.249713) vcan0 044#00",
    b"(1436509052.249713)  vcan0 044#00", b"(1436509052.249713)   can0 044#00", b"(1436509052.249713)\tvcan0 044#00",
    b"(1436509052.249713) vcan0  044#00", b" (1436509052.249713) vcan0 044#00", b"(1436509052.249713)vcan0 044#00",
    b"(1436509052.249713) a 044#00", b"(1436509052.249713) fifteen-letters 044#00",
    b"(1436509052.249713) sixteen--letters 044#00", b"(1436509052.249713) c(n0 044#00",
    b"(1436509052.249713) c\xe4n0 044#00", b"(1436509052.249713) c\x00n0 044#00", b"(1436509052.249713) c#n0 044#00",
    b"(1436509052.249713) 044#00", b"(1436509052.249713) vcan0 044", b"vcan0 044#00",
    b"(1536509052.249713) vcan0 044#00",
    b"(1436509052.249713) vcan0 044#R", b"(1436509052.249713) vcan0 044#R8_9", b"(1436509052.249713) vcan0 044#11.22",
    b"(1436509052.249713) vcan0 044#1122334455667788(1436509052.249713) vcan0 045#00",
    b"52.249713) vcan0 044#00", b"(1436509052.249713) vcan0 044#00 R extra", b"\x00" * 40,
]  # fmt: skip


@parsers
@pytest.mark.parametrize("line", [*ODD, *known_lines()])
def test_every_known_quirk_reads_the_same_wherever_it_stands(parse: candump.Parse, line: bytes) -> None:
    for lines in ([line], [line, USUAL], [USUAL, line], [USUAL, USUAL, line, USUAL], [line, line, USUAL, line, line]):
        text = b"\n".join(lines)
        for blocks in ([text], [text + b"\n"], cut(text, 7)):
            assert_twins(parse, blocks)


CHARACTERS = b"0123456789ABCDEFabcdef()#. RTrtxX_\r\n\t\x00\xe4"


@st.composite
def usual_lines(draw: st.DrawFn) -> bytes:
    seconds = draw(st.sampled_from([b"1436509052", b"1436509053", b"1536509052", b"000", b"7"]))
    decimals = draw(st.sampled_from([b"249713", b"000000", b"123456789"]))
    channel = draw(st.sampled_from([b"can0", b" can1", b"vcan0", b"can-with-a-name"]))
    can_id = draw(st.sampled_from([b"7E0", b"7e8", b"18DA10F1", b"000007E0", b"20000004", b"7FF", b"800"]))
    size = draw(st.sampled_from([0, 1, 3, 7, 8, 12, 64]))
    data = draw(st.binary(min_size=size, max_size=size)).hex().encode()
    data = data if draw(st.booleans()) else data.upper()
    mark = draw(st.sampled_from([b"#", b"#", b"##1", b"##F"]))
    suffix = draw(st.sampled_from([b"", b"", b" R", b" T"])) + draw(st.sampled_from([b"\n", b"\n", b"\r\n"]))
    return b"(%s.%s) %s %s%s%s%s" % (seconds, decimals, channel, can_id, mark, data, suffix)


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    lines = draw(st.lists(usual_lines(), min_size=1, max_size=12))
    text = bytearray(b"".join(lines))
    for _ in range(draw(st.integers(0, 6))):
        at = draw(st.integers(0, len(text)))
        new = draw(st.lists(st.sampled_from(CHARACTERS), max_size=2))
        text[at : at + draw(st.integers(0, 3))] = bytes(new)
    return bytes(text)


@parsers
@settings(max_examples=400)
@given(text=mutated(), size=st.integers(1, 400))
@example(text=b"\n", size=1)
@example(text=b"\r", size=1)
@example(text=USUAL, size=1)
def test_mutated_lines_read_the_same_however_they_are_cut(parse: candump.Parse, text: bytes, size: int) -> None:
    assert_twins(parse, cut(text, size) or [b""])


@parsers
@settings(max_examples=300)
@given(text=st.lists(st.sampled_from([USUAL, *ODD]), max_size=40).map(b"\n".join))
def test_mixtures_read_the_same(parse: candump.Parse, text: bytes) -> None:
    assert_twins(parse, [text])


# --- what depends on more than one line


@parsers
def test_a_clock_that_jumps_by_years_is_judged_the_same(parse: candump.Parse) -> None:
    def stamped(second: int) -> bytes:
        return b"(%d.000000) can%d 123#00\n" % (second, second % 3)

    near, far = 1_436_509_052, 1_736_509_052
    for seconds in (
        [near, near, far, near, near], [near, near, far, far, far], [far, near, near], [near, far, 1, far, near, near],
        [near, far], [near, far, far], [near, near, far, near, far, far, near, near],
    ):  # fmt: skip
        text = b"".join(map(stamped, seconds))
        assert_twins(parse, [text])
        assert_twins(parse, [text.replace(b"00\n", b"00\nnoise\n")])
        assert_twins(parse, cut(text, 70))


@parsers
def test_more_channel_names_than_columns_keep_are_left_to_single_lines(parse: candump.Parse) -> None:
    text = b"".join(b"(1436509052.%06d) c%d 123#00\n" % (at, at % 1100) for at in range(2500))
    assert assert_twins(parse, [text]).bad_lines
    few = b"".join(b"(1436509052.%06d) c%d 123#00\n" % (at, at % (MOST_NAMES + 5)) for at in range(2500))
    table = assert_twins(parse, [few])
    assert (len(table), len(table.channels)) == (2500, MOST_NAMES + 5)


@parsers
def test_short_names_set_right_are_the_same_channel(parse: candump.Parse) -> None:
    text = b"(1.000000) vcan10 123#00\n(1.000001)   can0 123#00\n(1.000002) can0 123#00\n"
    assert n_by_columns(parse, text) == 3
    assert assert_twins(parse, [text]).channels == ("vcan10", "can0")


@parsers
def test_an_endless_line_is_skipped_the_same(parse: candump.Parse, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("canlog.capture.lines.LONGEST_LINE_BYTES", 1000)
    text = (USUAL + b"\n") * 3 + b"\x00" * 5000 + b"\n" + (USUAL + b"\n") * 3 + b"A" * 3000
    for size in (100, 999, 10_000):
        assert_twins(parse, cut(text, size))


# --- the compiled reader alone


@needs_compiled
def test_the_compiled_reader_writes_only_where_there_is_room() -> None:
    from canlog.capture import _candump

    text = (USUAL + b"\n") * 4 + b"noise\n"
    kinds = [*candump_compiled._COLUMNS.values(), np.uint8, *(4 * [np.int64])]
    rooms = [5] * 8 + [64] + [5] * 4
    _candump.parse(text, 1, 0, tuple(np.empty(room, kind) for room, kind in zip(rooms, kinds, strict=True)))
    for wrong in ((0, np.int32), (8, np.int64), (12, np.uint8)):
        arrays = [np.empty(room, kind) for room, kind in zip(rooms, kinds, strict=True)]
        arrays[wrong[0]] = np.empty(64, wrong[1])
        with pytest.raises(ValueError, match="another kind"):
            _candump.parse(text, 1, 0, tuple(arrays))
    arrays = [np.empty(room, kind) for room, kind in zip(rooms, kinds, strict=True)]
    arrays[9] = np.empty(0, np.int64)
    with pytest.raises(ValueError, match="too short"):
        _candump.parse(text, 1, 0, tuple(arrays))
    arrays[9] = np.empty(5, np.int64)
    arrays[8] = np.empty(12, np.uint8)  # room for the data of two frames: the others are left as loose lines
    assert _candump.parse(text, 1, 0, tuple(arrays))[:3] == (2, 3, 10)
    with pytest.raises(ValueError, match="not as many"):
        _candump.parse(text, 1, 0, tuple(arrays[:-1]))
    frozen = np.empty(5, np.int64)
    frozen.setflags(write=False)
    with pytest.raises(ValueError, match="read-only"):
        _candump.parse(text, 1, 0, (frozen, *arrays[1:]))


def test_the_compiled_reader_can_be_switched_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(candump_compiled.SWITCH, "0")
    assert not candump_compiled.is_available()
    monkeypatch.setattr(candump_compiled, "_parse", None)
    with pytest.raises(RuntimeError, match="not built"):
        next(parse_compiled(b"", 1, 0))
    assert len(join_tables(list(candump.read([USUAL])))) == 1
