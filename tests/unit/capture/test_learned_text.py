"""Text that no reader describes: its shape is learned from the lines, or refused with a reason.

The lines are made here from the frames of fixtures/uds11-all-good-short in many shapes that loggers,
terminals and notebooks print; str and repr are those of python-can 4.6.1.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import can
import pytest

from canlog.capture import learned_text
from canlog.capture.registry import FORMATS
from canlog.errors import CaptureError
from canlog.frames import Frame, FrameFlag, TimeKind, join_tables
from canlog.read import read_capture

ROOT = Path(__file__).parents[3]
FRAMES = list(read_capture(ROOT / "fixtures" / "uds11-all-good-short" / "capture.log").frames())
FIRST_NS = FRAMES[0].time_ns
TESTER = {0x7E0, 0x7E1, 0x7DF}


def is_sent(frame: Frame) -> bool:
    return frame.can_id in TESTER


def message(frame: Frame) -> can.Message:
    return can.Message(
        timestamp=frame.time_ns / 1e9, arbitration_id=frame.can_id, is_extended_id=False, data=frame.data,
        channel="can0", is_rx=not is_sent(frame),
    )  # fmt: skip


def date(frame: Frame) -> datetime:
    return datetime.fromtimestamp(frame.time_ns // 1000 / 1e6, UTC)


def seconds(frame: Frame) -> str:
    return f"{(frame.time_ns - FIRST_NS) / 1e9:.6f}"


def dotted(data: bytes) -> str:
    return "".join(chr(byte) if 0x20 < byte < 0x7F and byte != 0x7C else "." for byte in data)


Shape = Callable[[int, Frame], str]
SHAPES: dict[str, tuple[Shape, set[str]]] = {  # a line of a frame, and what else but id and bytes can be learned
    "str": (lambda n, f: str(message(f)), {"time", "direction", "channel", "date"}),
    "repr": (lambda n, f: repr(message(f)), {"time", "channel", "date"}),
    "json": (lambda n, f: json.dumps({"ts": f.time_ns / 1e9, "id": f.can_id, "data": list(f.data)}), {"time", "date"}),
    "json with hex": (
        lambda n, f: json.dumps({"time": date(f).isoformat(), "can_id": hex(f.can_id), "data": f.data.hex()}),
        {"time", "date"},
    ),
    "table with counts": (
        lambda n, f: f"{n},{(f.time_ns - FIRST_NS) // 1000},0x{f.can_id:X},{len(f.data)},{f.data.hex(' ')}",
        {"time"},
    ),
    "commas": (lambda n, f: f"{seconds(f)},{f.can_id:03X},0,{len(f.data)},{f.data.hex(',')}", {"time"}),
    "decimal": (lambda n, f: f"{seconds(f)} {f.can_id} {len(f.data)} {' '.join(map(str, f.data))}", {"time"}),
    "log file": (
        lambda n, f: (
            f"{date(f):%Y-%m-%d %H:%M:%S},{f.time_ns // 10**6 % 1000:03d} INFO bus: "
            f"{'TX' if is_sent(f) else 'RX'} {f.can_id:03X} [{len(f.data)}] {f.data.hex(' ')}"
        ),
        {"milliseconds", "direction"},
    ),
    "arrows": (
        lambda n, f: f"{date(f):%H:%M:%S.%f} {'->' if is_sent(f) else '<-'} {f.can_id:03X}h {f.data.hex('-')}",
        {"time", "direction"},
    ),
    "one word of data": (lambda n, f: f"[{seconds(f):>14}] {f.can_id:03X} {len(f.data):02d} {f.data.hex()}", {"time"}),
    "labels": (lambda n, f: f"frame {n}: id={f.can_id:x} len={len(f.data)} data={f.data.hex(' ')}", set()),
    "unit behind the number": (
        lambda n, f: f"{(f.time_ns - FIRST_NS) / 1e6:.3f} ms  {f.can_id:03X}  {f.data.hex(' ')}  |{dotted(f.data)}|",
        {"time"},
    ),
    "channel first": (lambda n, f: f"ch1 T={seconds(f)} 0x{f.can_id:03x}: {f.data.hex(' ')}", {"time", "channel"}),
}


def text_of(shape: Shape) -> bytes:
    return "".join(f"{shape(number, frame)}\n" for number, frame in enumerate(FRAMES)).encode()


@pytest.mark.parametrize("name", SHAPES)
def test_a_shape_is_learned_from_its_lines(name: str, tmp_path: Path) -> None:
    shape, learned = SHAPES[name]
    path = tmp_path / "printed.txt"
    path.write_bytes(text_of(shape))
    capture = read_capture(path)
    table = capture.frames()
    assert capture.format == "learned-text" and not table.bad_lines
    assert [(frame.can_id, frame.data) for frame in table] == [(frame.can_id, frame.data) for frame in FRAMES]
    assert ("direction" in learned) == all(bool(f.flags & FrameFlag.SENT) == is_sent(f) for f in table)
    assert (set(table.channels) <= {"can0", "ch1"}) == ("channel" in learned)
    assert (table.time_kind is TimeKind.ABSOLUTE) == ("date" in learned)
    if learned & {"time", "milliseconds"}:
        allowed = 1_000 if "time" in learned else 1_000_000  # float seconds of python-can; whole milliseconds
        first = int(table.time_ns[0])
        assert all(
            abs((a.time_ns - first) - (b.time_ns - FIRST_NS)) <= allowed for a, b in zip(table, FRAMES, strict=True)
        )
    else:
        assert table.time_kind is TimeKind.NONE


@pytest.mark.parametrize("name", SHAPES)
def test_what_was_learned_is_said(name: str) -> None:
    (note,) = (
        note for note in join_tables(list(learned_text.read([text_of(SHAPES[name][0])]))).notes if "learned" in note
    )
    assert f"{len(FRAMES)} of the first {len(FRAMES)} fit" in note
    assert "id " in note and "bytes from " in note and ("hex" in note or "decimal" in note)


def test_lines_of_another_kind_between_are_damage_with_a_reason() -> None:
    lines = text_of(SHAPES["log file"][0]).splitlines()
    lines[10:10] = [b"2026-11-24 21:00:00,500 ERROR bus: passive", b"hello", lines[10][:-6], b"", b"# note"]
    table = join_tables(list(learned_text.read([b"\n".join(lines)])))
    assert len(table) == len(FRAMES)
    assert [(bad.line, bad.reason) for bad in table.bad_lines] == [
        (11, "no frame: it speaks of an error or a status"),
        (12, "no id where the others have one"),
        (13, "8 bytes announced, 6 there"),
    ]


def doubtful(line: Shape) -> bytes:
    return "".join(f"{line(number, frame)}\n" for number, frame in enumerate(FRAMES)).encode()


DOUBTS: dict[str, tuple[bytes, str]] = {
    "two ids": (
        doubtful(lambda n, f: f"{f.can_id:03X} {f.can_id ^ 0x10:03X} {f.data.hex(' ')}"), "two words could be the id"
    ),
    "two times": (
        doubtful(lambda n, f: f"{seconds(f)} {n * 0.5:.3f} {f.can_id:03X} {f.data.hex(' ')}"),
        "two words could be the time",
    ),
    "no id": (doubtful(lambda n, f: f"{seconds(f)} {f.data.hex(' ')}"), "no word looks like an id"),
    "no bytes": (doubtful(lambda n, f: f"{seconds(f)} {f.can_id:03X} good"), "no place where bytes stand"),
    "hex or decimal": (
        b"".join(b"1.%d 7E%d 3 2 10 3\n" % (at, at % 2) for at in range(10)), "may be hex or decimal"
    ),
    "half prose": (
        doubtful(lambda n, f: f"{seconds(f)} {f.can_id:03X} {f.data.hex(' ')}" if n % 2 else "and so on, and so on"),
        "no place where bytes stand",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", DOUBTS)
def test_a_shape_in_doubt_is_refused_with_the_reason(name: str, tmp_path: Path) -> None:
    text, reason = DOUBTS[name]
    path = tmp_path / "printed.txt"
    path.write_bytes(text)
    assert 0 < learned_text.recognise(text[: 64 * 1024]) < 0.001
    with pytest.raises(CaptureError, match=reason):
        read_capture(path)


OTHER_TEXT = sorted(
    [*ROOT.glob("*.md"), *ROOT.glob("canlog/**/*.py"), *ROOT.glob("fixtures/*.toml"), *ROOT.glob("fixtures/*.csv"),
     *ROOT.glob("fixtures/uds11*/truth.json"), ROOT / "pyproject.toml"]
)  # fmt: skip


def test_prose_programs_and_tables_of_other_things_have_no_shape() -> None:
    assert len(OTHER_TEXT) > 50
    for path in OTHER_TEXT:
        text = path.read_bytes()[: 64 * 1024]
        for reader in FORMATS:
            assert reader.recognise(text) < 0.2, (path, reader.NAME)


def test_a_few_lines_are_too_few() -> None:
    assert learned_text.recognise(b"1.0 -> 7E0 02 10 03\n" * 3) == 0


REAL = sorted(path for path in (ROOT / "fixtures" / "real").iterdir() if path.suffix in (".asc", ".csv"))


@pytest.mark.parametrize("path", REAL, ids=lambda path: path.name)
def test_a_real_capture_is_learned_as_its_own_reader_reads_it_or_refused(path: Path) -> None:
    """Its header is taken away: only the lines speak."""
    known = [(frame.can_id, frame.data) for frame in read_capture(path).frames()]
    lines = path.read_bytes().splitlines(keepends=True)
    table = join_tables(list(learned_text.read([b"".join(lines[1:] if path.suffix == ".csv" else lines[3:])])))
    learned = [(frame.can_id, frame.data) for frame in table]
    if len(table):
        rest = iter(known)
        assert all(frame in rest for frame in learned)  # none invented, in order
        assert len(learned) > 0.95 * len(known)
    else:
        assert table.bad_lines[0].reason
