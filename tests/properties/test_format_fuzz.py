"""Captures of every form with bytes changed, cut out and put in: frames or a CaptureError, in bounded time.

The captures are those of fixtures/formats; damage is drawn from a seeded generator, so a failure repeats.
"""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest

from canlog.capture.registry import FORMATS, CaptureFormat
from canlog.errors import CaptureError
from canlog.frames import FrameTable
from canlog.read import read_capture

CLEAN = sorted((Path(__file__).parents[2] / "fixtures" / "formats" / "clean").iterdir())
#: Seconds one damaged capture may take: the machine may be busy, a hang is far longer.
LONGEST_S = 10.0
ROUNDS = {"session.mf4": 4, "printed.txt": 20}  # slow: a process of its own, a shape that is learned anew


def damaged(content: bytes, rnd: random.Random) -> bytes:
    changed = bytearray(content)
    for _ in range(rnd.choice((1, 1, 2, 8))):
        at = rnd.randrange(len(changed))
        match rnd.randrange(5):
            case 0:
                changed[at] ^= 1 << rnd.randrange(8)
            case 1:
                changed[at : at + rnd.randrange(1, 64)] = b""
            case 2:
                changed[at:at] = rnd.randbytes(rnd.randrange(1, 64))
            case 3:
                changed[at : at + 4] = rnd.choice((b"\xff\xff\xff\xff", b"\0\0\0\0", b"\xff\xff\xff\x7f"))
            case _:
                source = rnd.randrange(len(changed))
                changed[at : at + 32] = changed[source : source + 32]
        if len(changed) < 2:
            break
    return bytes(changed[: rnd.randrange(1, len(changed) + 1)] if rnd.random() < 0.2 else changed)


def check_table(table: FrameTable) -> None:
    """No frame is impossible, and every line has one fate."""
    for frame in table:
        assert 0 <= frame.can_id <= (0x1FFFFFFF if frame.flags & (1 | 32) else 0x7FF)
        assert frame.length <= (64 if frame.flags & 2 else 8)
        assert frame.flags & 16 or len(frame.data) == frame.length
        assert 1 <= frame.line <= table.lines_read
    assert all(1 <= bad.line <= table.lines_read and bad.reason for bad in table.bad_lines)
    assert not set(table.line.tolist()) & {bad.line for bad in table.bad_lines}


@pytest.mark.parametrize("path", CLEAN, ids=lambda path: path.name)
def test_a_damaged_capture_gives_frames_or_a_refusal_in_bounded_time(path: Path, tmp_path: Path) -> None:
    rnd = random.Random(path.name)
    content, target = path.read_bytes(), tmp_path / "capture"
    refused = 0
    for _ in range(ROUNDS.get(path.name, 80)):
        target.write_bytes(damaged(content, rnd))
        start = time.monotonic()
        try:
            check_table(read_capture(target).frames())
        except CaptureError as error:
            assert error.hint and "\n" not in str(error)
            refused += 1
        assert time.monotonic() - start < LONGEST_S
    assert path.suffix == ".mf4" or refused < 40


def test_random_bytes_behind_the_first_ones_of_a_form_are_refused_or_give_damage(tmp_path: Path) -> None:
    rnd = random.Random(3)
    heads = [path.read_bytes()[:n_bytes] for path in CLEAN if path.suffix != ".mf4" for n_bytes in (4, 16, 64, 200)]
    target = tmp_path / "capture"
    for head in heads:
        target.write_bytes(head + rnd.randbytes(rnd.randrange(2000)))
        try:
            check_table(read_capture(target).frames())
        except CaptureError as error:
            assert error.hint


PIECES = [
    b" |",
    b" '",
    b'"',
    b"0x",
    b"7E8 ",
    b"1:",
    b"a:",
    b"id=",
    b"t7E8",
    b"1.0,",
    b"((",
    b"#",
    b"02 ",
    b"-",
    b"\t",
    b";$",
]


@pytest.mark.parametrize("reader", FORMATS, ids=lambda reader: reader.NAME)
def test_no_line_makes_a_reader_think_for_long(reader: CaptureFormat) -> None:
    """Text that patterns may try in very many ways."""
    for piece in PIECES:
        for width in (200, 64 * 1024):
            line = (piece * width)[:width]
            head = (line + b"\n") * max(64 * 1024 // width, 1)
            start = time.monotonic()
            assert 0 <= reader.recognise(head[: 64 * 1024]) <= 1
            assert time.monotonic() - start < LONGEST_S
