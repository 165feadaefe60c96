"""Every example line of tests/vectors/candump_lines.csv, read alone and among others."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from canlog.capture import candump_log, candump_text
from canlog.frames import FrameFlag

VECTORS = Path(__file__).parents[2] / "vectors" / "candump_lines.csv"


def rows() -> list[dict[str, str]]:
    with VECTORS.open() as file:
        return list(csv.DictReader((line for line in file if not line.startswith("#")), delimiter=";"))


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["id"])
def test_an_example_line_is_read_as_its_source_says(row: dict[str, str]) -> None:
    line = row["line"].encode()
    screen = b"[" in line
    table = list((candump_text if screen else candump_log).read([line + b"\n"]))[-1]
    assert (len(table), len(table.drops), len(table.bad_lines)) == {
        "frame": (1, 0, 0), "drop": (0, 1, 0), "bad": (0, 0, 1),
    }[row["kind"]]  # fmt: skip
    if row["kind"] == "drop":
        assert table.drops[0].frames == int(row["length"])
    elif row["kind"] == "bad":
        assert "CAN XL" in table.bad_lines[0].reason
    else:
        flags = FrameFlag(sum(FrameFlag[name].value for name in row["flags"].split("+") if name))
        frame = table[0]
        assert (frame.can_id, frame.flags, frame.length) == (int(row["can_id"], 16), flags, int(row["length"]))
        assert (frame.data, frame.time_ns) == (bytes.fromhex(row["data"]), int(row["time_ns"]))


def test_the_vector_file_has_every_kind() -> None:
    assert {row["kind"] for row in rows()} == {"frame", "drop", "bad"}
    assert len(rows()) == 25
