"""What a user may hand over as a capture, and what is answered."""

from __future__ import annotations

import gc
import hashlib
import io
import os
import sys
import tempfile
import threading
from pathlib import Path

import pytest

from canlog.capture.capture import KEPT_FRAMES
from canlog.errors import CaptureError
from canlog.read import read_capture

LOG = b"(1436509052.249713) vcan0 044#2A366C2BBA\n(1436509052.350000) vcan0 7E8#0350030032\n"


def written(folder: Path, content: bytes, name: str = "capture.log") -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


REFUSED = [
    ("empty", b"", "empty"),
    ("binary", bytes(range(256)) * 40, "binary"),
    ("zeros", bytes(4096), "binary"),
    ("prose", b"We switched the ignition on and waited.\nNothing came.\n", "no line looks like a CAN frame"),
    ("blank", b"\n\n  \n", "no line looks like a CAN frame"),
    ("python", b"import can\nfor message in bus:\n    print(message)  # can0 7E0#\n", "no line looks like a CAN frame"),
    ("header only", b"date Thu, 09 Nov 2023\nbase hex  timestamps absolute\n", "no line looks like a CAN frame"),
    ("csv of something else", b"time,id,price\n1,2,3\n", "no header that names the columns"),
    ("csv header only", b"Time Stamp,ID,Extended,Bus,LEN,D1\n", "no line looks like a CAN frame"),
    ("all damaged", b"(1436509052.249713) vcan0 044#2A366C2BB\n", "line 1: its data is not whole bytes"),
]


@pytest.mark.parametrize(("name", "content", "says"), REFUSED, ids=[name for name, _, _ in REFUSED])
def test_what_is_no_capture_is_refused_in_one_line_with_a_hint(
    tmp_path: Path, name: str, content: bytes, says: str
) -> None:
    with pytest.raises(CaptureError) as refusal:
        read_capture(written(tmp_path, content))
    assert says in str(refusal.value) and "capture.log" in str(refusal.value)
    assert refusal.value.hint and "\n" not in str(refusal.value)


def test_a_missing_file_a_folder_and_a_device_are_refused(tmp_path: Path) -> None:
    for path, says in ((tmp_path / "gone.log", "cannot be read"), (tmp_path, "a folder"), ("/dev/zero", "a device")):
        with pytest.raises(CaptureError, match=says):
            read_capture(path)
    with pytest.raises(CaptureError, match="cannot be read"):
        read_capture("nul\0byte.log")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_must_not_be_read_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, LOG)
    path.chmod(0)
    with pytest.raises(CaptureError, match="cannot be read"):
        read_capture(path)


def test_a_refusal_is_short_and_gives_the_nearest_reason(tmp_path: Path) -> None:
    with pytest.raises(CaptureError) as refusal:
        read_capture(written(tmp_path, b"nothing\n"))
    assert str(refusal.value) == "capture.log: no line looks like a CAN frame"
    assert "canlog formats" in refusal.value.hint
    with pytest.raises(CaptureError) as refusal:
        read_capture(written(tmp_path, b"(1436509052.249713) vcan0 044#2A366C2BB\n"))
    assert "candump-log: " in str(refusal.value)
    assert len(str(refusal.value)) < 160


@pytest.mark.parametrize(
    ("content", "says", "hint"),
    [
        ('[vehicle]\nvin = "E0KRC7HT5TD004217"\n', "a job sheet", "--job"),
        ('# of a coach\r\n[[module]]\r\nlabel = "DUC"\r\nclear_faults = true\r\n', "a job sheet", "--job"),
        ('[[module]]\nlabel = "DUC"\nlink = "7E0:7E8"\n', "a names file", "--names"),
        ('[[routine]]   # of the DUC\nid = "0312"\n', "a names file", "--names"),
        ('{\n "schema": "canlog-report/1",\n', "a report of canlog", "the capture"),
    ],
)
def test_a_file_that_belongs_elsewhere_is_named(tmp_path: Path, content: str, says: str, hint: str) -> None:
    with pytest.raises(CaptureError, match=says) as refusal:
        read_capture(written(tmp_path, content.encode()))
    assert hint in refusal.value.hint


@pytest.mark.parametrize("name", ["capture.txt", "capture.asc", "capture.csv", "capture.blf", "capture"])
def test_the_file_name_does_not_choose_the_format(tmp_path: Path, name: str) -> None:
    capture = read_capture(written(tmp_path, LOG, name))
    assert (capture.format, capture.name, len(capture.frames())) == ("candump-log", name, 2)


def test_frames_after_pages_of_console_text_are_found(tmp_path: Path) -> None:
    capture = read_capture(written(tmp_path, b"bench$ make everything\n" * 5000 + LOG))
    frames = capture.frames()
    assert len(frames) == 2 and len(frames.bad_lines) == 5000


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_other_encodings_of_text_are_read(tmp_path: Path, encoding: str) -> None:
    original = LOG.decode().encode(encoding)
    capture = read_capture(written(tmp_path, original))
    assert [frame.can_id for frame in capture.frames()] == [0x044, 0x7E8]
    assert capture.sha256 == hashlib.sha256(original).hexdigest()
    assert capture.raw_line(capture.frames()[1].position) == "(1436509052.350000) vcan0 7E8#0350030032"
    assert ("UTF-16" in capture.note) == encoding.startswith("utf-16")


def test_broken_utf_16_damages_only_its_own_line(tmp_path: Path) -> None:
    broken = LOG.decode().encode("utf-16") + b"\x00\xd8\n\x00" + LOG.decode().encode("utf-16-le") + b"\x28"
    frames = read_capture(written(tmp_path, broken)).frames()
    assert len(frames) == 4 and len(frames.bad_lines) == 2


def test_a_latin_1_byte_damages_only_its_own_line(tmp_path: Path) -> None:
    frames = read_capture(written(tmp_path, LOG + b"Z\xfcndung an\n" + LOG)).frames()
    assert len(frames) == 4 and [bad.text for bad in frames.bad_lines] == ["Z�ndung an"]


def test_standard_input_is_read_twice_like_a_file(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(LOG)))
    capture = read_capture("-")
    assert (capture.name, len(capture.frames()), len(capture.frames())) == ("standard input", 2, 2)
    assert capture.sha256 == hashlib.sha256(LOG).hexdigest()


def test_temporary_files_go_with_the_capture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    spools = tmp_path / "spools"
    spools.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(spools))
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(LOG.decode().encode("utf-16"))))
    capture = read_capture("-")
    assert len(capture.frames()) == 2 and len(list(spools.iterdir())) == 2
    del capture
    gc.collect()
    assert not list(spools.iterdir())


def test_the_sha256_is_that_of_the_file_although_it_is_gone_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The thread has its turn only after the file was removed."""
    path = tmp_path / "capture.log"
    path.write_text("(1.000000) can0 7E0#0211010000000000\n")
    begin, may_begin = threading.Thread.run, threading.Event()
    monkeypatch.setattr(threading.Thread, "run", lambda self: may_begin.wait(5) and begin(self))
    capture = read_capture(path)
    capture.hash_meanwhile()
    content = path.read_bytes()
    path.unlink()
    may_begin.set()
    assert capture.sha256 == hashlib.sha256(content).hexdigest()


def test_a_pipe_is_read_like_a_file(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_bytes, args=(LOG,))
    writer.start()
    capture = read_capture(pipe)
    writer.join()
    assert len(capture.frames()) == len(capture.frames()) == 2


def test_a_raw_line_is_read_again_by_its_position(tmp_path: Path) -> None:
    text = LOG.replace(b"\n", b" R\r\n")
    capture = read_capture(written(tmp_path, b"# note\r\n" + text))
    assert [capture.raw_line(frame.position) for frame in capture.frames()] == text.decode().splitlines()


def test_progress_reaches_the_end(tmp_path: Path) -> None:
    calls: list[tuple[int, int]] = []
    path = written(tmp_path, LOG * 80_000)
    capture = read_capture(path, progress=lambda done, size: calls.append((done, size)))
    assert len(capture.frames()) == 160_000
    assert calls[-1] == (path.stat().st_size, path.stat().st_size)
    assert calls == sorted(calls) and len(calls) > 2


def test_chunks_are_bounded_and_equal_in_every_pass(tmp_path: Path) -> None:
    lines = KEPT_FRAMES + 10_000
    text = b"".join(
        b"(%d.%06d) can0 123#%02X\n" % (1700000000 + at // 1000, at % 1000 * 1000, at % 256) for at in range(lines)
    )
    capture = read_capture(written(tmp_path, text))
    for _ in range(2):
        sizes = [len(table) for table in capture.chunks()]
        assert sum(sizes) == lines and max(sizes) < 100_000 and len(sizes) >= 3
    assert (capture.frames().time_ns[1:] > capture.frames().time_ns[:-1]).all()
    assert capture.frames()[lines - 1].data == bytes([(lines - 1) % 256])


def test_a_small_capture_stays_in_memory_after_the_first_pass(tmp_path: Path) -> None:
    path = written(tmp_path, LOG)
    capture = read_capture(path)
    first = list(capture.chunks())
    path.unlink()
    assert list(capture.chunks()) == first


def test_a_pass_that_was_left_early_is_not_taken_for_a_whole_one(tmp_path: Path) -> None:
    text = LOG * 40_000
    capture = read_capture(written(tmp_path, text))
    next(capture.chunks())
    assert len(capture.frames()) == 80_000


def test_frames_become_a_data_frame(tmp_path: Path) -> None:
    frame = read_capture(written(tmp_path, LOG)).to_pandas()
    assert frame["time_ns"].tolist() == [1436509052249713000, 1436509052350000000]
    assert frame["data"].tolist() == [bytes.fromhex("2A366C2BBA"), bytes.fromhex("0350030032")]
    assert frame["channel"].tolist() == ["vcan0", "vcan0"]
