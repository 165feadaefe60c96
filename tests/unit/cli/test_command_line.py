"""The commands as a person or a script uses them."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from terminals import written_on_terminal

from analysis import analyse
from analysis.cli import main
from analysis.commands.progress import ProgressLine
from canlog.services.printed import TABLES, table_text

FIXTURES = Path(__file__).parents[3] / "fixtures"
GOOD = FIXTURES / "coach-all-good" / "capture.log"
FAILED = FIXTURES / "coach-erase-low-voltage" / "capture.log"
NAMES = FIXTURES / "coach_names.toml"
JOB = FIXTURES / "coach.toml"
PROGRAM = (sys.executable, "-m", "analysis.cli")


def run(*arguments: object, stdin: bytes | None = None, **env: str) -> Result:
    result = CliRunner(env=env).invoke(main, [str(item) for item in arguments], input=stdin)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
    return result


def rows(*arguments: object) -> list[dict[str, Any]]:
    result = run("list", *arguments, "--format", "jsonl")
    assert result.exit_code == 0, result.output
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_the_report_begins_with_what_happened_and_the_module_now() -> None:
    result = run("report", FAILED, "--names", NAMES)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.startswith("DUC: programming failed: ")
    assert "\n\nTHE MODULES NOW\n" in result.stdout


def test_the_commands_that_show_more_can_be_typed_as_they_stand() -> None:
    result = run("report", FAILED, "--names", NAMES, "--link", "can0:7E0>7E8")
    commands = " ".join(result.stdout.partition("SEE MORE")[2].split())
    assert f"canlog list {FAILED} --link 'can0:7E0>7E8' --level exchanges" in commands
    assert f"canlog report {FAILED} --names {NAMES} --link 'can0:7E0>7E8' --json report.json" in commands


def test_exchanges_are_listed_where_no_level_is_named() -> None:
    assert run("list", GOOD).stdout == run("list", GOOD, "--level", "exchanges").stdout


def test_the_json_is_what_python_gives(tmp_path: Path) -> None:
    result = run("report", GOOD, "--names", NAMES, "--job", JOB, "--json", tmp_path / "report.json")
    assert result.stdout.startswith("All confirmed at DUC: ")
    written = json.loads((tmp_path / "report.json").read_text(encoding="utf-8"))
    assert written == analyse(GOOD, JOB, [NAMES]).to_dict()
    printed = run("report", GOOD, "--names", NAMES, "--job", JOB, "--json", "-")
    assert json.loads(printed.stdout) == written


def test_standard_input_gives_the_same_report() -> None:
    piped = json.loads(run("report", "-", "--json", "-", stdin=FAILED.read_bytes()).stdout)
    named = json.loads(run("report", FAILED, "--json", "-").stdout)
    assert piped["captures"][0]["name"] != named["captures"][0]["name"]
    for report in (piped, named):
        report["captures"][0]["name"] = ""
        report["verdict"]["cannot_show"] = []
    assert piped == named


@pytest.mark.parametrize(
    ("capture", "code"), [(GOOD, 0), (FAILED, 1), (FIXTURES / "uds11-only-reads" / "capture.log", 1)]
)
def test_strict_says_by_its_exit_code_whether_all_is_confirmed(capture: Path, code: int) -> None:
    result = run("report", capture, "--names", NAMES, "--strict")
    assert result.exit_code == code
    assert result.stdout
    assert run("report", capture, "--names", NAMES).exit_code == 0


def test_a_sheet_decides_what_strict_asks_for() -> None:
    van = FIXTURES / "van-wrong-calibration" / "capture.log"
    names = FIXTURES / "van_names.toml"
    assert run("report", van, "--names", names, "--strict").exit_code == 0
    assert run("report", van, "--names", names, "--job", FIXTURES / "van.toml", "--strict").exit_code == 1


def test_every_message_of_every_link_is_listed_once_in_order_of_completion() -> None:
    listed = rows(GOOD, "--level", "messages")
    links = analyse(GOOD).to_dict()["links"]
    assert len(listed) == sum(link["messages"] for link in links)
    assert {row["link"] for row in listed} == {link["link"] for link in links if link["messages"]}
    assert [row["lines"][1] for row in listed] == sorted(row["lines"][1] for row in listed)
    first = listed[0]
    assert list(first) == [
        "capture", "link", "channel", "can_id", "address", "direction", "time_ns", "end_ns", "lines", "complete",
        "reason", "length", "data", "missing", "told",
    ]  # fmt: skip
    assert first["data"] == "3E80" and first["lines"] == [13, 13] and first["address"] is None


def test_a_link_can_be_named_with_and_without_its_channel() -> None:
    key = "can0:18DA2BF1>18DAF12B"
    for text in (key, "18DA2BF1>18DAF12B", "18da2bf1:18daf12b"):
        listed = rows(GOOD, "--level", "messages", "--link", text)
        assert {row["link"] for row in listed} == {key}
    assert rows(GOOD, "--level", "messages", "--link", "can1:18DA2BF1>18DAF12B") == []
    frames = rows(GOOD, "--level", "frames", "--link", key)
    assert {row["can_id"] for row in frames} == {"18DA2BF1", "18DAF12B"}


def test_every_frame_is_listed() -> None:
    listed = rows(GOOD, "--level", "frames")
    lines = GOOD.read_text().splitlines()
    assert len(listed) == len(lines)
    for row, line in zip(listed, lines, strict=True):
        stamp, channel, frame = line.split()[:3]
        seconds, _, fraction = stamp.strip("()").partition(".")
        assert row["time_ns"] == int(seconds) * 10**9 + int(fraction.ljust(9, "0"))
        assert (row["channel"], row["can_id"]) == (channel, frame.partition("#")[0])
        assert row["data"] in (frame.partition("#")[2], "**" * row["length"])


def test_seeds_and_keys_are_shown_only_when_asked_for() -> None:
    for level in ("exchanges", "messages", "frames"):
        masked = run("list", GOOD, "--level", level, "--format", "csv").stdout
        shown = run("list", GOOD, "--level", level, "--format", "csv", "--secrets").stdout
        for secret in ("5A3C91E7", "90CEE908", "11C0FFEE", "6EF9EDAD"):
            assert secret not in masked, level
            assert secret in shown, level


def test_exchanges_are_those_of_the_report() -> None:
    listed = [
        {key: value for key, value in row.items() if key not in ("label", "told")}
        for row in rows(FAILED, "--level", "exchanges")
    ]
    assert listed == analyse(FAILED).to_dict()["exchanges"]


def test_messages_name_the_service_and_the_reason_of_a_refusal() -> None:
    listed = rows(FIXTURES / "uds11-write-refused" / "capture.log", "--level", "messages")
    told = {row["data"][:6]: row["told"] for row in listed}
    assert told["22F190"] == told["62F190"] == "ReadDataByIdentifier"
    refused = [row["told"] for row in listed if row["data"].startswith("7F2E") and not row["data"].endswith("78")]
    assert refused
    assert all(text.startswith("WriteDataByIdentifier refused: ") and len(text.split()) > 3 for text in refused)
    waits = [row["told"] for row in listed if row["data"].startswith("7F3178")]
    assert waits
    assert all(text.startswith("RoutineControl not yet: 78 ") for text in waits)
    text = run("list", FIXTURES / "uds11-write-refused" / "capture.log", "--level", "messages", COLUMNS="160").stdout
    assert "WriteDataByIdentifier refused: " in text


@pytest.mark.parametrize("level", ["exchanges", "messages", "frames"])
def test_all_forms_have_the_same_rows(level: str, tmp_path: Path) -> None:
    from pyarrow import parquet

    listed = rows(FAILED, "--level", level)
    table = list(csv.DictReader(io.StringIO(run("list", FAILED, "--level", level, "--format", "csv").stdout)))
    assert run("list", FAILED, "--level", level, "--format", "parquet", "--output", tmp_path / "p").stdout == ""
    columns = parquet.read_table(tmp_path / "p").to_pylist()
    text = run("list", FAILED, "--level", level).stdout.splitlines()
    assert len(listed) == len(table) == len(columns) == len(text)
    assert [row["lines"][0] if "lines" in row else row["line"] for row in listed] == [
        row.get("first_line", row.get("line")) for row in columns
    ]


@pytest.mark.parametrize("level", ["exchanges", "messages", "frames"])
def test_text_rows_keep_to_the_width_of_a_terminal(level: str) -> None:
    text = run("list", GOOD, "--level", level, COLUMNS="100").stdout
    assert max(map(len, text.splitlines())) <= 100


def test_a_capture_without_clock_has_no_times(tmp_path: Path) -> None:
    (tmp_path / "no_time.log").write_text(
        "can0  7E0   [8]  02 10 03 00 00 00 00 00\ncan0  7E8   [8]  06 50 03 00 32 01 F4 00\n" * 3
    )
    listed = rows(tmp_path / "no_time.log", "--level", "messages")
    assert listed and {row["time_ns"] for row in listed} == {row["end_ns"] for row in listed} == {None}
    frames = rows(tmp_path / "no_time.log", "--level", "frames")
    assert len(frames) == 6 and {row["time_ns"] for row in frames} == {None}


def test_a_list_without_rows_says_so_beside_the_output() -> None:
    result = run("list", FIXTURES / "uds11-no-diagnostics" / "capture.log", "--level", "messages")
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr.startswith("no messages to list")


def test_several_captures_are_numbered_in_order() -> None:
    listed = rows(FAILED, GOOD, "--level", "messages")
    assert {row["capture"] for row in listed} == {1, 2}


def test_formats_are_listed() -> None:
    result = run("formats")
    assert result.exit_code == 0
    assert "candump-log" in result.stdout


@pytest.mark.parametrize("arguments", [(), ("report",), ("list",), ("formats",)], ids=" ".join)
def test_help_is_there_and_fits_the_terminal(arguments: tuple[str, ...]) -> None:
    result = run(*arguments, "--help")
    assert result.exit_code == 0
    assert result.stdout.startswith("Usage: ")
    assert max(map(len, result.stdout.splitlines())) <= 80


def on_terminal(*arguments: str, env: dict[str, str]) -> str:
    """What the program writes when its output is a terminal."""
    return written_on_terminal([*PROGRAM, *arguments], {**os.environ, "TERM": "xterm", **env})


def test_colour_is_for_terminals_that_want_it() -> None:
    command = ("report", str(FAILED))
    assert "\033[" in on_terminal(*command, env={"NO_COLOR": ""})
    assert "\033[" not in on_terminal(*command, env={"NO_COLOR": "1"})
    assert "\033[" not in on_terminal(*command, env={"TERM": "dumb", "NO_COLOR": ""})
    assert "\033[" not in run("report", FAILED).stdout


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_shows_only_on_a_terminal_and_only_after_a_while(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter([0.0, 0.5, 1.5, 1.55, 2.0])
    monkeypatch.setattr(time, "monotonic", lambda: next(clock))
    stream = Terminal()
    line = ProgressLine(stream)
    line(1, 10)
    assert stream.getvalue() == ""
    line(5, 10)
    shown = stream.getvalue()
    assert " 50%" in shown
    line(6, 10)
    assert stream.getvalue() == shown, "not more often than ten times a second"
    line(10, 10)
    assert "100%" in stream.getvalue()
    line.close()
    assert re.search(r"\r +\r$", stream.getvalue()), "it wipes itself"


def test_progress_is_silent_where_nobody_watches(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter([0.0, 5.0])
    monkeypatch.setattr(time, "monotonic", lambda: next(clock))
    stream = io.StringIO()
    line = ProgressLine(stream)
    line(5, 10)
    line.close()
    assert stream.getvalue() == ""


def test_a_reader_that_goes_away_is_no_error() -> None:
    process = subprocess.Popen(
        [*PROGRAM, "list", str(GOOD), "--level", "frames"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None and process.stderr is not None
    process.stdout.readline()
    process.stdout.close()
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.wait() == 141


#: A pipe takes 64 KiB on Linux before its writer has to wait, and may be set to 1 MiB (pipe(7)).
MORE_THAN_A_PIPE_HOLDS = 2 << 20


def test_ctrl_c_ends_quietly() -> None:
    process = subprocess.Popen(
        [*PROGRAM, "report", "-"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdin is not None
    line = b"(1.0) can0 123#00\n"
    process.stdin.write(line * (MORE_THAN_A_PIPE_HOLDS // len(line)))
    process.stdin.flush()  # comes back when the program has begun to read; then it waits for the rest
    process.send_signal(signal.SIGINT)
    out, err = process.communicate()
    assert (process.returncode, out, err.strip()) == (130, b"", b"")


def test_the_tables_are_listed_by_name_and_title() -> None:
    listed = run("tables")
    assert (listed.exit_code, listed.stderr) == (0, "")
    assert [line.split("  ")[0].strip() for line in listed.stdout.splitlines()] == list(TABLES)
    assert all(
        line.endswith(table.title) for line, table in zip(listed.stdout.splitlines(), TABLES.values(), strict=True)
    )


@pytest.mark.parametrize("name", TABLES)
def test_a_table_is_printed_as_wide_as_the_terminal(name: str) -> None:
    assert run("tables", name, COLUMNS="90").stdout == table_text(name, 90)
    piped = run("tables", name, COLUMNS="")
    assert piped.stdout == table_text(name, 120)


def test_a_piped_table_breaks_no_name() -> None:
    for name, table in TABLES.items():
        printed = set(run("tables", name, COLUMNS="").stdout.split())
        assert {word for row in table.rows for word in row[0].split() + row[1].split()} <= printed


@pytest.mark.parametrize(
    ("arguments", "columns", "said"),
    [(["nrc"], "", "no table 'nrc' — there are nrc-uds"), (["nrc-uds"], "20", "a page of 20 characters is too narrow"),
     (["nrc-uds", "nrc-obd"], "", "`canlog tables --help` shows how")],
)  # fmt: skip
def test_a_table_that_cannot_be_printed_is_one_line(arguments: list[str], columns: str, said: str) -> None:
    result = run("tables", *arguments, COLUMNS=columns)
    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr
    assert result.stderr.count("\n") == 1
