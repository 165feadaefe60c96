"""Huge and endless input is refused or skipped within bounded memory, with a clear message."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

FRAMES = b"".join(b"(1436509052.%06d) can0 123#0011223344556677\n" % at for at in range(1000))
#: Private memory a whole report may take here; the files are larger.
LIMIT_BYTES = 450 * 1024 * 1024
LIMITED = f"""
import resource
resource.setrlimit(resource.RLIMIT_DATA, ({LIMIT_BYTES}, {LIMIT_BYTES}))
from analysis.cli import main
main()
"""


def report(path: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", LIMITED, "report", str(path)], capture_output=True, text=True, check=False, timeout=120
    )


def with_hole(path: Path, before: bytes, zeros: int, behind: bytes) -> Path:
    """A file with zeros that take no room on the disk."""
    with path.open("wb") as file:
        file.write(before)
        file.seek(zeros, 1)
        file.write(behind)
        file.truncate()
    return path


@pytest.mark.parametrize("gigabytes", [1, 10])
def test_a_file_of_zeros_is_refused_at_once(tmp_path: Path, gigabytes: int) -> None:
    result = report(with_hole(tmp_path / "zeros.log", b"", gigabytes * 10**9, b"\0"))
    assert result.returncode == 2 and result.stdout == ""
    assert "zeros.log: binary data in no form that can be read" in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_hole_of_zeros_in_a_capture_is_one_damaged_line(tmp_path: Path) -> None:
    result = report(with_hole(tmp_path / "hole.log", FRAMES, 500_000_000, b"\n" + FRAMES))
    assert result.returncode == 0, result.stderr
    assert "2,000 frames" in result.stdout
    assert "1 of 2,001 lines cannot be read" in result.stdout


def test_a_line_of_100_megabytes_is_skipped(tmp_path: Path) -> None:
    path = tmp_path / "long.log"
    path.write_bytes(FRAMES + b"A" * 100_000_000 + b"\n" + FRAMES)
    result = report(path)
    assert result.returncode == 0, result.stderr
    assert "2,000 frames" in result.stdout


def test_a_capture_that_begins_with_a_line_of_100_megabytes_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "long.log"
    path.write_bytes(b"A" * 100_000_000 + b"\n" + FRAMES)
    result = report(path)
    assert result.returncode == 2
    assert "no line looks like a CAN frame" in result.stderr
    assert len(result.stderr) < 5000


def test_a_capture_of_nothing_but_damage_fills_no_memory(tmp_path: Path) -> None:
    path = tmp_path / "noise.log"
    path.write_bytes(FRAMES + b"noise\n" * 1_000_000)
    result = report(path)
    assert result.returncode == 0, result.stderr
    assert "1,000 frames" in result.stdout
