"""Rows as text lines, JSON lines, CSV or Parquet.

JSON lines keep lists; tables have one column for each end of ``lines``. Nothing is collected: rows are
written as they come, Parquet in groups.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import islice
from typing import TYPE_CHECKING, Any, BinaryIO, Final, Literal, NamedTuple

from canlog.errors import CanlogError

if TYPE_CHECKING:
    from analysis.report.lines import Lines

Row = Mapping[str, Any]
Type = Literal["int", "text", "bool", "lines"]
Columns = Mapping[str, Type]
Writer = Callable[["Table", BinaryIO], None]

_GROUP_ROWS: Final = 65_536
#: Rows that are laid out together on a terminal; the first of them give the widths of the columns.
_SCREENS_ROWS: Final = 500


class CountedRows:
    """Rows that are counted as they pass."""

    def __init__(self, rows: Iterable[Row]) -> None:
        self._rows = rows
        self.n_rows = 0

    def __iter__(self) -> Iterator[Row]:
        for row in self._rows:
            self.n_rows += 1
            yield row


def _values(row: Row) -> list[str]:
    return [str(value) for value in row.values()]


class Table(NamedTuple):
    """Rows with the type of each column, and how a person wants to see one."""

    columns: Columns
    rows: Iterable[Row]
    as_text: Callable[[Row], str]
    head: Sequence[str] = ()
    as_cells: Callable[[Row], Sequence[str]] = _values


def write_text(table: Table, stream: BinaryIO) -> None:
    """One line a row, for people."""
    for row in table.rows:
        stream.write(f"{table.as_text(row)}\n".encode("utf-8", "replace"))


def write_page(table: Table, page: Lines, stream: BinaryIO, encoding: str) -> None:
    """A table on a terminal, screen by screen as the rows come."""
    rows = iter(table.rows)
    page.table(table.head, [0] * len(table.head), indent=0)
    while group := list(islice(rows, _SCREENS_ROWS)):
        for row in group:
            page.row(*table.as_cells(row))
        stream.write(page.take().encode(encoding, "replace"))
        stream.flush()


def write_jsonl(table: Table, stream: BinaryIO) -> None:
    """One JSON object a line."""
    for row in table.rows:
        stream.write(json.dumps(row, ensure_ascii=False).encode("utf-8", "replace") + b"\n")


def write_csv(table: Table, stream: BinaryIO) -> None:
    """A header line, then one line a row (RFC 4180, line feed at the end)."""
    text = io.TextIOWrapper(stream, encoding="utf-8", errors="replace", newline="", write_through=False)
    try:
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(flat_names(table.columns))
        writer.writerows(map(_csv_value, _flat(row, table.columns)) for row in table.rows)
        text.flush()
    finally:
        text.detach()


def write_parquet(table: Table, stream: BinaryIO) -> None:
    """Apache Parquet, one row group for every 65,536 rows.

    Raises:
        CanlogError: pyarrow is not installed.
    """
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError as error:
        raise CanlogError("Parquet needs pyarrow", hint="pip install pyarrow") from error
    types = {"int": pa.int64(), "text": pa.string(), "bool": pa.bool_(), "lines": pa.int64()}
    schema = pa.schema([(name, types[kind]) for name, kind in _flat_columns(table.columns)])
    with parquet.ParquetWriter(stream, schema) as writer:
        rows = iter(table.rows)
        while group := list(islice(rows, _GROUP_ROWS)):
            columns = zip(*(_flat(row, table.columns) for row in group), strict=True)
            arrays = [pa.array(column, field.type) for column, field in zip(columns, schema, strict=True)]
            writer.write_batch(pa.RecordBatch.from_arrays(arrays, schema=schema))


WRITERS: Final[Mapping[str, Writer]] = {
    "text": write_text,
    "jsonl": write_jsonl,
    "csv": write_csv,
    "parquet": write_parquet,
}


def flat_names(columns: Columns) -> list[str]:
    """The columns of a table: ``lines`` is two."""
    return [name for name, _ in _flat_columns(columns)]


def _flat_columns(columns: Columns) -> Iterator[tuple[str, Type]]:
    for name, kind in columns.items():
        if kind == "lines":
            yield "first_line", kind
            yield "last_line", kind
        else:
            yield name, kind


def _flat(row: Row, columns: Columns) -> Sequence[object]:
    values: list[object] = []
    for name, kind in columns.items():
        if kind == "lines":
            values += (row[name][0], row[name][-1])
        else:
            values.append(row[name])
    return values


def _csv_value(value: object) -> object:
    return str(value).lower() if isinstance(value, bool) else value
