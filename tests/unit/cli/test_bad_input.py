"""Whatever a user hands over that is no capture: one line, one hint, exit code 2, nothing written."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from analysis.cli import main

GOOD = "(1795557600.000000) can0 7E0#0210030000000000\n(1795557600.010000) can0 7E8#065003003201F400\n" * 3


def run(*arguments: object, stdin: bytes | None = None) -> Result:
    return CliRunner().invoke(main, [str(item) for item in arguments], input=stdin)


def assert_one_line_with_hint(result: Result, *named: str) -> None:
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    lines = result.stderr.splitlines()
    assert len(lines) == 1, result.stderr
    assert lines[0].startswith("canlog: ")
    what, dash, hint = lines[0].partition(" — ")
    assert dash and hint
    for word in named:
        assert word in what
    assert "Traceback" not in result.stderr


BAD_CAPTURES = {
    "empty": b"",
    "only blank lines": b"\n\n \n",
    "binary": bytes(range(256)) * 40,
    "zeros": bytes(5000),
    "prose": b"Dear workshop,\nplease find the capture attached.\n" * 50,
    "other table": b"name;value\na;1\nb;2\n" * 20,
    "cut program": b"\x7fELF\x02\x01\x01" + bytes(60),
    "UTF-16 prose": "no frame in here\n".encode("utf-16") * 40,
    "UTF-32": GOOD.encode("utf-32"),
    "EBCDIC": GOOD.encode("cp500"),
    "invalid UTF-8": b"\xff\xfe\xfa\xc3\x28" * 50,
    "control signs": b"\x1b[2J\x07" * 40,
}
COMMANDS = (("report",), ("list", "--level", "messages"), ("list", "--level", "frames"))


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
@pytest.mark.parametrize("kind", BAD_CAPTURES)
def test_a_file_that_is_no_capture(tmp_path: Path, kind: str, command: tuple[str, ...]) -> None:
    path = tmp_path / "what.log"
    path.write_bytes(BAD_CAPTURES[kind])
    assert_one_line_with_hint(run(*command, path), "what.log")


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
@pytest.mark.parametrize("kind", BAD_CAPTURES)
def test_standard_input_that_is_no_capture(kind: str, command: tuple[str, ...]) -> None:
    assert_one_line_with_hint(run(*command, "-", stdin=BAD_CAPTURES[kind]))


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_a_capture_that_is_not_there(tmp_path: Path, command: tuple[str, ...]) -> None:
    assert_one_line_with_hint(run(*command, tmp_path / "missing.log"), "missing.log")
    assert_one_line_with_hint(run(*command, tmp_path), tmp_path.name)
    assert_one_line_with_hint(run(*command, tmp_path / ("x" * 400)))
    assert_one_line_with_hint(run(*command, ""))
    assert_one_line_with_hint(run(*command, "/dev/zero"))


def test_a_bad_capture_beside_a_good_one_spoils_the_whole_answer(tmp_path: Path) -> None:
    (tmp_path / "good.log").write_text(GOOD)
    (tmp_path / "bad.log").write_text("no")
    for command in COMMANDS:
        assert_one_line_with_hint(run(*command, tmp_path / "good.log", tmp_path / "bad.log"), "bad.log")


@pytest.mark.parametrize("output", ["--json", "--output"])
def test_nothing_is_written_when_the_input_is_bad(tmp_path: Path, output: str) -> None:
    (tmp_path / "bad.log").write_text("no")
    command = ("report",) if output == "--json" else ("list", "--level", "messages")
    assert_one_line_with_hint(run(*command, tmp_path / "bad.log", output, tmp_path / "out"))
    assert [path.name for path in tmp_path.iterdir()] == ["bad.log"]


@pytest.mark.parametrize("place", ["", "missing/out"])
def test_an_output_that_cannot_be_written(tmp_path: Path, place: str) -> None:
    (tmp_path / "good.log").write_text(GOOD)
    output = f"{tmp_path}/{place}"
    assert_one_line_with_hint(run("report", tmp_path / "good.log", "--json", output), str(tmp_path))
    assert_one_line_with_hint(run("list", tmp_path / "good.log", "--level", "frames", "--output", output))


def test_a_capture_is_never_written_over(tmp_path: Path) -> None:
    capture = tmp_path / "good.log"
    capture.write_text(GOOD)
    assert_one_line_with_hint(run("report", capture, "--json", capture), "is read by this command")
    assert_one_line_with_hint(run("report", capture, "--html", capture), "is read by this command")
    assert_one_line_with_hint(run("list", capture, "--level", "frames", "--output", capture))
    assert_one_line_with_hint(run("trims", capture, "--csv", capture), "is read by this command")
    assert_one_line_with_hint(run("walk", capture, "--html", capture), "is read by this command")
    assert capture.read_text() == GOOD


def test_two_outputs_of_one_name_are_refused(tmp_path: Path) -> None:
    (tmp_path / "good.log").write_text(GOOD)
    same = tmp_path / "out"
    assert_one_line_with_hint(run("report", tmp_path / "good.log", "--json", same, "--html", same), "same name")
    assert not same.exists()


def test_standard_input_can_be_named_only_once() -> None:
    assert_one_line_with_hint(run("report", "-", "-", stdin=GOOD.encode()), "only once")


BAD_SHEETS = {
    "missing": None,
    "not TOML": "module = [",
    "unknown field": "[vehicle]\ncolour = 'red'\n",
    "wrong link": "[[module]]\nlabel = 'A'\nlink = '7E0-7E8'\n",
    "wrong type": "module = 3\n",
}


@pytest.mark.parametrize("option", ["--job", "--names"])
@pytest.mark.parametrize("kind", BAD_SHEETS)
def test_a_sheet_or_names_file_that_is_wrong(tmp_path: Path, kind: str, option: str) -> None:
    (tmp_path / "good.log").write_text(GOOD)
    sheet, text = tmp_path / "sheet.toml", BAD_SHEETS[kind]
    if text is not None:
        sheet.write_text(text)
    assert_one_line_with_hint(run("report", tmp_path / "good.log", option, sheet), "sheet.toml")


@pytest.mark.parametrize("key", ["", "7E0", "can0:7E0>7E8>7E9", "can0:GG>7E8", "\x1b[2J"])
@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_a_link_key_that_is_none(tmp_path: Path, key: str, command: tuple[str, ...]) -> None:
    (tmp_path / "good.log").write_text(GOOD)
    result = run(*command, tmp_path / "good.log", "--link", key)
    assert_one_line_with_hint(result)
    assert "\x1b" not in result.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("report",),
        ("list", "x.log"),
        ("list", "x.log", "--level", "bits"),
        ("list", "x.log", "--level", "frames", "--format", "xml"),
        ("reprot", "x.log"),
        ("report", "x.log", "--colour"),
        ("report", "x.log", "--json"),
        ("formats", "x"),
    ],
)
def test_wrong_usage(arguments: tuple[str, ...]) -> None:
    assert_one_line_with_hint(run(*arguments))


def test_a_real_process_says_the_same(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "analysis.cli", "report", str(tmp_path / "missing.log")]
    result = subprocess.run(command, capture_output=True, check=False)
    assert (result.returncode, result.stdout) == (2, b"")
    assert result.stderr.startswith(b"canlog: missing.log")
    assert result.stderr.count(b"\n") == 1
