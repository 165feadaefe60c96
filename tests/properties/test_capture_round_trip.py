"""Frames written as text by a small writer of this test, and read back: nothing changes.

The writer follows the forms of can-utils (candump.c, lib.c at 95aae6b) and shares no code with the readers.
"""

from __future__ import annotations

from typing import NamedTuple

from hypothesis import given
from hypothesis import strategies as st

from canlog.capture import candump_log, candump_text
from canlog.frames import FrameFlag, FrameTable, join_tables

FD_SIZES = (*range(9), 12, 16, 20, 24, 32, 48, 64)


class Written(NamedTuple):
    """A frame before it is text."""

    time_us: int
    channel: str
    can_id: int
    extended: bool
    fd: bool
    brs: bool
    esi: bool
    remote: bool
    length: int
    data: bytes
    direction: str


@st.composite
def written(draw: st.DrawFn) -> Written:
    extended, fd = draw(st.booleans()), draw(st.booleans())
    remote = not fd and draw(st.integers(0, 5)) == 0
    length = draw(st.sampled_from(FD_SIZES) if fd else st.integers(0, 8))
    return Written(
        time_us=draw(st.integers(0, 10**9)),
        channel=draw(st.sampled_from(["can0", "vcan10", "slcan0"])),
        can_id=draw(st.integers(0, 2**29 - 1 if extended else 2**11 - 1)),
        extended=extended,
        fd=fd,
        brs=fd and draw(st.booleans()),
        esi=fd and draw(st.booleans()),
        remote=remote,
        length=length,
        data=b"" if remote else draw(st.binary(min_size=length, max_size=length)),
        direction=draw(st.sampled_from("RT")),
    )


def id_text(frame: Written) -> str:
    return f"{frame.can_id:08X}" if frame.extended else f"{frame.can_id:03X}"


def log_line(frame: Written, base_us: int, *, decimals: int, marked: bool) -> str:
    time_us = base_us + frame.time_us
    stamp = f"({time_us // 10**6:010d}.{time_us % 10**6 * 10 ** (decimals - 6):0{decimals}d})"
    if frame.remote:
        body = f"#R{frame.length or ''}"
    elif frame.fd:
        body = f"##{frame.brs + 2 * frame.esi + 4:X}{frame.data.hex().upper()}"
    else:
        body = f"#{frame.data.hex().upper()}"
    return f"{stamp} {frame.channel:>6} {id_text(frame)}{body}{' ' + frame.direction if marked else ''}\n"


def screen_line(frame: Written, base_us: int, *, ascii_column: bool, marked: bool) -> str:
    time_us = base_us + frame.time_us
    mark = f" {frame.direction}X {'B' if frame.brs else '-'} {'E' if frame.esi else '-'}" if marked else ""
    size = f" [{frame.length:02d}]" if frame.fd else f"  [{frame.length}]"
    front = f" ({time_us // 10**6:010d}.{time_us % 10**6:06d})  {frame.channel:>6}{mark}  {id_text(frame):>8} {size}  "
    if frame.remote:
        return front + "remote request\n"
    text = frame.data.hex(" ").upper()
    if ascii_column and not frame.fd:
        shown = "".join(chr(byte) if 0x1F < byte < 0x7F else "." for byte in frame.data)
        text += " " * (3 * (8 - frame.length) + 13) + f"'{shown}'"
    return front + text + "\n"


def compare(table: FrameTable, frames: list[Written], base_us: int, *, marked: bool, fd_flags: bool) -> None:
    assert not table.bad_lines
    assert len(table) == len(frames)
    for row, frame in zip(table, frames, strict=True):
        flags = (
            (FrameFlag.EXTENDED if frame.extended else 0)
            | (FrameFlag.FD if frame.fd else 0)
            | (FrameFlag.BRS if frame.brs and fd_flags else 0)
            | (FrameFlag.ESI if frame.esi and fd_flags else 0)
            | (FrameFlag.REMOTE if frame.remote else 0)
            | ({"R": FrameFlag.RECEIVED, "T": FrameFlag.SENT}[frame.direction] if marked else 0)
        )
        assert (row.time_ns, row.channel, row.can_id, row.flags, row.length, row.data) == (
            (base_us + frame.time_us) * 1000, frame.channel, frame.can_id, flags, frame.length, frame.data,
        )  # fmt: skip


BASES = st.sampled_from([1_700_000_000_000_000, 1_000_000_000_000_000])


@given(
    st.lists(written(), min_size=1, max_size=30), BASES, st.sampled_from([6, 9]), st.booleans(), st.integers(1, 10_000)
)
def test_a_log_is_read_back(frames: list[Written], base_us: int, decimals: int, marked: bool, size: int) -> None:
    text = "".join(log_line(frame, base_us, decimals=decimals, marked=marked) for frame in frames).encode()
    assert candump_log.recognise(text) == 1
    assert candump_text.recognise(text) == 0
    table = join_tables(list(candump_log.read(text[at : at + size] for at in range(0, len(text), size))))
    compare(table, frames, base_us, marked=marked, fd_flags=True)
    assert [text[position:].split(b"\n")[0] for position in table.position.tolist()] == text.splitlines()


@given(st.lists(written(), min_size=1, max_size=30), BASES, st.booleans(), st.booleans())
def test_a_screen_capture_is_read_back(frames: list[Written], base_us: int, marked: bool, ascii_column: bool) -> None:
    text = "".join(screen_line(frame, base_us, ascii_column=ascii_column, marked=marked) for frame in frames).encode()
    assert candump_text.recognise(text) == 1
    assert candump_log.recognise(text) == 0
    table = join_tables(list(candump_text.read([text])))
    compare(table, frames, base_us, marked=marked, fd_flags=marked)


@given(st.lists(written(), min_size=2, max_size=10), BASES, st.data())
def test_a_log_cut_anywhere_gives_only_frames_that_were_there(
    frames: list[Written], base_us: int, data: st.DataObject
) -> None:
    """The first line may be lost, the last shortened by whole bytes; no other frame may appear."""
    text = "".join(log_line(frame, base_us, decimals=6, marked=False) for frame in frames).encode()
    start = data.draw(st.integers(1, text.index(b"\n")))
    end = data.draw(st.integers(text.index(b"\n", text.index(b"\n") + 1), len(text)))  # one line at least is whole
    table = join_tables(list(candump_log.read([text[start:end]])))
    there = [((base_us + frame.time_us) * 1000, frame.can_id, frame.data) for frame in frames[1:]]
    for row, (time_ns, can_id, content) in zip(table, there, strict=False):
        assert (row.time_ns, row.can_id) == (time_ns, can_id)
        assert row.data == content or (row.line == table.lines_read and content.startswith(row.data))
