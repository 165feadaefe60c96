"""Rows in four forms; Parquet is read back with pyarrow, CSV with the standard library."""

from __future__ import annotations

import csv
import io
import json
import sys

import pytest
from pyarrow import parquet

from analysis.commands.rows import WRITERS, Columns, CountedRows, Table
from analysis.secrecy import is_secret, masked_hex
from canlog.errors import CanlogError

COLUMNS: Columns = {"link": "text", "time_ns": "int", "lines": "lines", "complete": "bool"}
ROWS = [
    {"link": 'a,"b"\n', "time_ns": 1_780_000_000_123_456_789, "lines": [3, 9], "complete": True},
    {"link": "ü", "time_ns": None, "lines": [10], "complete": False},
]


def written(form: str) -> bytes:
    stream = io.BytesIO()
    WRITERS[form](Table(COLUMNS, ROWS, lambda row: f"{row['time_ns']}"), stream)
    return stream.getvalue()


def test_json_lines_keep_every_field_as_it_is() -> None:
    assert [json.loads(line) for line in written("jsonl").splitlines()] == ROWS


def test_text_has_one_line_for_each_row() -> None:
    assert written("text") == b"1780000000123456789\nNone\n"


def test_csv_has_a_column_for_each_end_of_the_lines() -> None:
    rows = list(csv.reader(io.StringIO(written("csv").decode())))
    assert rows == [
        ["link", "time_ns", "first_line", "last_line", "complete"],
        ['a,"b"\n', "1780000000123456789", "3", "9", "true"],
        ["ü", "", "10", "10", "false"],
    ]


def test_parquet_keeps_times_to_the_nanosecond() -> None:
    table = parquet.read_table(io.BytesIO(written("parquet")))
    assert table.to_pylist() == [
        {"link": 'a,"b"\n', "time_ns": 1_780_000_000_123_456_789, "first_line": 3, "last_line": 9, "complete": True},
        {"link": "ü", "time_ns": None, "first_line": 10, "last_line": 10, "complete": False},
    ]


def test_parquet_without_rows_still_has_its_columns() -> None:
    stream = io.BytesIO()
    WRITERS["parquet"](Table(COLUMNS, [], str), stream)
    table = parquet.read_table(io.BytesIO(stream.getvalue()))
    assert (table.num_rows, table.column_names) == (0, ["link", "time_ns", "first_line", "last_line", "complete"])


def test_parquet_without_pyarrow_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(CanlogError, match="needs pyarrow") as caught:
        written("parquet")
    assert "pip install pyarrow" in caught.value.hint


def test_rows_are_counted_as_they_pass() -> None:
    rows = CountedRows(ROWS)
    assert (list(rows), rows.n_rows) == (ROWS, 2)


def test_seeds_keys_and_certificates_are_masked_byte_by_byte() -> None:
    assert masked_hex(bytes.fromhex("6711 5A3C91E7")) == "6711********"
    assert masked_hex(bytes.fromhex("2712 90CEE908")) == "2712********"
    assert masked_hex(bytes.fromhex("2901 00 0102")) == "2901******"
    assert masked_hex(bytes.fromhex("6901 13")) == "6901**"


def test_what_follows_a_session_stays_readable() -> None:
    for text in ("2711", "6712", "7F2735", "62F190", ""):
        assert masked_hex(bytes.fromhex(text)) == text
        assert not is_secret(bytes.fromhex(text))
