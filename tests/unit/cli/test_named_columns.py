"""A table without a header: the user names its columns."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from analysis import analyse
from analysis.cli import main

ROWS = "0.000,7E0,02 10 03\n0.010,7E8,06 50 03 00 32 01 F4\n0.5,7E0,03 22 F1 88\n0.52,7E8,05 62 F1 88 41 42\n"


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "table.txt"
    path.write_text(ROWS)
    return path


def test_named_columns_reach_the_report(table: Path) -> None:
    report = analyse(table, columns="time,id,data").to_dict()
    assert [(item["request"], item["response"]) for item in report["exchanges"]] == [
        ("1003", "5003003201F4"),
        ("22F188", "62F1884142"),
    ]


def test_the_list_takes_named_columns(table: Path) -> None:
    result = CliRunner().invoke(main, ["list", str(table), "--level", "frames", "--columns", "time,id,data"])
    assert result.exit_code == 0
    assert len(result.stdout.splitlines()) == 4


def test_a_column_of_an_unknown_name_is_bad_usage(table: Path) -> None:
    result = CliRunner().invoke(main, ["report", str(table), "--columns", "time,colour"])
    assert result.exit_code == 2
    assert "colour" in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1


def test_a_table_with_named_columns_is_what_its_name_promises(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_text(ROWS)
    reasons = analyse(path, columns="time,id,data").to_dict()["captures"][0]["fitness_reasons"]
    assert not any("promises" in reason for reason in reasons)
