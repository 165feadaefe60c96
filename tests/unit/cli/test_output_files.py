"""Output files are written whole or not at all, and never over an input."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from analysis.commands.writing import refuse_to_overwrite, whole_file
from canlog.errors import CanlogError


def write(path: Path, data: bytes) -> None:
    with whole_file(str(path)) as stream:
        stream.write(data)


def test_a_file_appears_with_its_bytes_and_nothing_beside_it(tmp_path: Path) -> None:
    write(tmp_path / "report.json", b"{}")
    assert (tmp_path / "report.json").read_bytes() == b"{}"
    assert list(tmp_path.iterdir()) == [tmp_path / "report.json"]


def test_a_broken_write_leaves_the_old_file_as_it_was(tmp_path: Path) -> None:
    target = tmp_path / "report.json"
    target.write_bytes(b"old")
    with pytest.raises(RuntimeError), whole_file(str(target)) as stream:
        stream.write(b"half")
        raise RuntimeError
    assert target.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [target]


def test_a_broken_write_leaves_no_new_file(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt), whole_file(str(tmp_path / "report.json")):
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []


def test_a_new_file_has_the_rights_that_the_umask_gives(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write(tmp_path / "report.json", b"")
    finally:
        os.umask(before)
    assert (tmp_path / "report.json").stat().st_mode & 0o777 == 0o640


def test_a_file_that_is_there_keeps_its_rights(tmp_path: Path) -> None:
    target = tmp_path / "report.json"
    target.touch(0o600)
    write(target, b"new")
    assert target.stat().st_mode & 0o777 == 0o600


def test_a_link_to_a_file_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.json").touch()
    (tmp_path / "link.json").symlink_to(tmp_path / "real.json")
    write(tmp_path / "link.json", b"new")
    assert (tmp_path / "link.json").is_symlink()
    assert (tmp_path / "real.json").read_bytes() == b"new"


def test_a_device_is_written_to_and_not_replaced() -> None:
    write(Path("/dev/null"), b"gone")
    assert Path("/dev/null").is_char_device()


@pytest.mark.parametrize("where", ["", "missing/report.json", "x\0y"])
def test_a_place_that_cannot_be_written_is_named(tmp_path: Path, where: str) -> None:
    with pytest.raises(CanlogError) as caught:
        write(Path(f"{tmp_path}/{where}"), b"")
    assert str(tmp_path) in str(caught.value)
    assert caught.value.hint


def test_an_input_is_never_overwritten(tmp_path: Path) -> None:
    capture = tmp_path / "capture.log"
    capture.write_text("x")
    (tmp_path / "other").symlink_to(capture)
    for output in (capture, tmp_path / "other", tmp_path / "." / "capture.log"):
        with pytest.raises(CanlogError, match="is read by this command"):
            refuse_to_overwrite(str(output), [str(capture)])
    refuse_to_overwrite(str(tmp_path / "new.json"), [str(capture), "-"])
    refuse_to_overwrite("-", ["-"])
    refuse_to_overwrite(None, [str(capture)])
