"""Compressed captures: unpacked, cut, damaged, bombs. Packed by Python's own modules and the zstandard library."""

from __future__ import annotations

import builtins
import gzip
import io
import lzma
import random
import shutil
import sys
import zipfile
import zlib
from collections import namedtuple
from pathlib import Path
from typing import Any

import pytest
import zstandard

from canlog.capture import unpacking
from canlog.errors import CaptureError
from canlog.read import read_capture

LINES = [
    b"(%d.%06d) can0 7E8#%s\n" % (1436509052 + at, at * 7, random.Random(at).randbytes(8).hex().encode())
    for at in range(5000)
]
LOG = b"".join(LINES)


def zipped(*members: tuple[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return buffer.getvalue()


PACKED = {
    "gz": gzip.compress(LOG),
    "xz": lzma.compress(LOG),
    "zst": zstandard.compress(LOG),
    "zip": zipped(("log/", b""), ("log/capture.log", LOG), ("__MACOSX/log/._capture.log", b"x")),
}


def written(folder: Path, content: bytes, name: str = "capture.log") -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


@pytest.mark.parametrize("kind", PACKED)
def test_a_packed_capture_is_read_and_said_so(tmp_path: Path, kind: str) -> None:
    capture = read_capture(written(tmp_path, PACKED[kind], f"capture.log.{kind}"))
    frames = capture.frames()
    assert (len(frames), len(frames.bad_lines)) == (5000, 0)
    assert capture.raw_line(frames[4999].position).encode() + b"\n" == LINES[4999]
    assert capture.note.startswith("unpacked")


@pytest.mark.parametrize("kind", PACKED)
def test_standard_input_may_be_packed(monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(PACKED[kind])))
    assert len(read_capture("-").frames()) == 5000


@pytest.mark.parametrize("kind", ["gz", "xz", "zst"])
def test_several_streams_in_one_file_are_joined(tmp_path: Path, kind: str) -> None:
    assert len(read_capture(written(tmp_path, PACKED[kind] * 2)).frames()) == 10_000


def test_layers_are_taken_off_one_by_one(tmp_path: Path) -> None:
    capture = read_capture(written(tmp_path, lzma.compress(gzip.compress(LOG.decode().encode("utf-16")))))
    assert len(capture.frames()) == 5000
    assert all(word in capture.note for word in ("xz", "gzip", "UTF-16"))


def test_too_many_layers_are_refused(tmp_path: Path) -> None:
    packed = LOG
    for _ in range(6):
        packed = gzip.compress(packed)
    with pytest.raises(CaptureError, match="packed more than"):
        read_capture(written(tmp_path, packed))


@pytest.mark.parametrize("kind", ["gz", "xz", "zst"])
def test_a_cut_file_gives_what_stands_before_the_cut(tmp_path: Path, kind: str) -> None:
    packed = PACKED[kind]
    capture = read_capture(written(tmp_path, packed[: len(packed) * 2 // 3]))
    table = capture.frames()
    frames = list(table)
    assert 100 < len(frames) < 5000
    assert [frame.data.hex() for frame in frames] == [
        line.split(b"#")[1].strip().decode() for line in LINES[: len(frames)]
    ]
    last = table.bad_lines[-1]
    assert "its end is missing" in last.reason and last.line == table.lines_read > table.line[-1]


@pytest.mark.parametrize("kind", ["gz", "xz", "zst"])
def test_a_damaged_file_is_said_to_be_damaged(tmp_path: Path, kind: str) -> None:
    packed = bytearray(PACKED[kind])
    packed[len(packed) // 2 : len(packed) // 2 + 64] = bytes(64)
    try:
        capture = read_capture(written(tmp_path, bytes(packed)))
    except CaptureError as error:
        assert "nothing is in it" in str(error) and "damaged" in str(error)
    else:
        assert "damaged" in capture.frames().bad_lines[-1].reason and len(capture.frames()) > 0


def test_a_cut_zip_file_is_refused_with_a_hint(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match=r"capture.log: a damaged zip") as refusal:
        read_capture(written(tmp_path, PACKED["zip"][:-100]))
    assert refusal.value.hint


def test_a_damaged_member_gives_what_stands_before_the_damage(tmp_path: Path) -> None:
    packed = bytearray(PACKED["zip"])
    packed[len(packed) // 2] ^= 0x55
    capture = read_capture(written(tmp_path, bytes(packed)))
    assert "damaged" in capture.frames().bad_lines[-1].reason and 100 < len(capture.frames()) <= 5000


@pytest.mark.parametrize("members", [(), (("a.log", LOG), ("b.log", LOG))], ids=["none", "two"])
def test_a_zip_file_must_have_one_member(tmp_path: Path, members: tuple[tuple[str, bytes], ...]) -> None:
    packed = zipped(*members) if members else zipped(("folder/", b""))
    with pytest.raises(CaptureError, match="members") as refusal:
        read_capture(written(tmp_path, packed))
    assert "unpack it" in refusal.value.hint


@pytest.mark.parametrize(
    "bomb",
    [zlib.compress(bytes(200_000_000), wbits=31), lzma.compress(bytes(200_000_000), preset=0),
     zstandard.compress(bytes(200_000_000)), zipped(("a.log", bytes(200_000_000)))],
    ids=["gz", "xz", "zst", "zip"],
)  # fmt: skip
def test_what_unpacks_to_far_more_than_a_log_is_refused(tmp_path: Path, bomb: bytes) -> None:
    with pytest.raises(CaptureError, match="times its size") as refusal:
        read_capture(written(tmp_path, bomb))
    assert "capture.log" in str(refusal.value) and refusal.value.hint


def test_what_unpacks_without_end_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(unpacking, "MOST_BYTES", 100_000)
    with pytest.raises(CaptureError, match="more than 100000 bytes"):
        read_capture(written(tmp_path, PACKED["gz"]))


def test_a_full_disk_is_seen_before_it_is_full(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(1, 1, 1000))
    with pytest.raises(CaptureError, match="no room"):
        read_capture(written(tmp_path, PACKED["gz"]))


def test_a_missing_library_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name == "zstandard":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(CaptureError, match="library is missing") as refusal:
        read_capture(written(tmp_path, PACKED["zst"]))
    assert "pip install zstandard" in refusal.value.hint


def test_every_limit_has_its_reason() -> None:
    assert all(limit.name and limit.value > 0 and limit.reason for limit in unpacking.LIMITS)


@pytest.mark.parametrize("kind", PACKED)
def test_mutated_packed_files_give_frames_or_a_refusal(tmp_path: Path, kind: str) -> None:
    rnd = random.Random(7)
    small = {"gz": gzip.compress, "xz": lzma.compress, "zst": zstandard.compress}.get(
        kind, lambda data: zipped(("capture.log", data))
    )(b"".join(LINES[:60]))
    for _ in range(150):
        packed = bytearray(small)
        for _ in range(rnd.randrange(1, 4)):
            packed[rnd.randrange(len(packed))] = rnd.randrange(256)
        try:
            capture = read_capture(written(tmp_path, bytes(packed[: rnd.randrange(4, len(packed) + 1)])))
        except CaptureError as error:
            assert error.hint
        else:
            assert len(capture.frames()) <= 60
