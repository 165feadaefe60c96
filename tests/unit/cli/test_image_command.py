"""`canlog image`: the page, the file beside it, the file saved."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner, Result

from analysis.cli import main

FIXTURES = Path(__file__).parents[3] / "fixtures"
GOOD = str(FIXTURES / "uds11-all-good" / "capture.log")
NAMES = str(FIXTURES / "uds11_names.toml")


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["image", *arguments])


def test_what_was_written_is_listed_with_its_checksums() -> None:
    page = run(GOOD, "--names", NAMES).stdout
    assert "PCU APPLICATION  confirmed (confidence high)" in page
    assert "CRC-32 A208D053" in page  # of the simulated module's memory


def test_a_saved_file_compares_equal_and_only_with_itself(tmp_path: Path) -> None:
    saved = str(tmp_path / "out.hex")
    run(GOOD, "--names", NAMES, "--save", saved)
    again = " ".join(run(GOOD, "--names", NAMES, "--against", saved).stdout.split())  # wrapped, by the path's length
    assert again.count("equal, byte for byte") == 2
    content = Path(saved).read_text().splitlines()
    Path(saved).write_text("\n".join([content[0], *content[2:]]) + "\n")
    fewer = " ".join(run(GOOD, "--names", NAMES, "--against", saved).stdout.split())
    assert fewer.count("equal, byte for byte") == 1  # the first line is an address
    assert "written that the file does not hold" in fewer


def test_the_file_compared_with_is_not_overwritten(tmp_path: Path) -> None:
    file = tmp_path / "firmware.bin"
    file.write_bytes(b"abc")
    result = run(GOOD, "--against", str(file), "--save", str(file))
    assert result.exit_code != 0
    assert file.read_bytes() == b"abc"


def test_a_capture_without_a_download_says_so() -> None:
    result = run(str(FIXTURES / "uds11-only-reads" / "capture.log"))
    assert result.exit_code == 0
    assert "No download with data" in result.stdout


def test_holes_left_out_are_said(tmp_path: Path) -> None:
    cut = tmp_path / "cut.log"
    lines = Path(GOOD).read_text().splitlines(keepends=True)
    cut.write_text("".join(lines[:130] + lines[131:]))
    result = run(str(cut), "--names", NAMES, "--save", str(tmp_path / "out.hex"))
    assert "7 bytes that the capture does not show, or not where, left out" in result.stderr
