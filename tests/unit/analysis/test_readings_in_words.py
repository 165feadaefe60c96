"""How a value that was read is said: blank memory, numbers that look like letters, values by layout."""

from __future__ import annotations

import pytest
from talk import NAMES, Talk, ask, heard, read

LAYOUT = """
[[identifier]]
id = "3A20"
name = "pump curve"
modules = ["PCU"]
kind = "trim"
layout = [ { name = "head", type = "u16" }, { name = "flow", type = "u16", count = 4, scale = 0.5, unit = "l/h" } ]
default = "02??FF*"
"""


@pytest.mark.parametrize(
    ("talk", "value"),
    [
        (read("3A20", "0201 0002 0004 0006 0008"), "head 513, flow 1.0 2.0 3.0 4.0 l/h"),
        (read("3A20", "FF" * 10), "blank"),
        (read("3A20", "0203" + "FF" * 8), "blank"),
        (read("F190", b"\xff" * 17), "blank"),
        (read("F190", b"\x00" * 17), "blank"),
        (read("3B00", "FFFFFFFF"), "blank"),
        (read("3B00", "FFFF"), None),
        (ask("0906", b"\x49\x06\x01jc|Y"), None),
        (read("F806", b"jc|Y"), None),
    ],
)
def test_the_words_of_a_reading(talk: Talk, value: str | None) -> None:
    report = heard(talk, names=NAMES + LAYOUT).to_dict()
    (found,) = report["identifiers"]
    assert found["readings"][0]["value"] == value


def test_a_blank_trim_is_called_blank_and_not_out_of_range() -> None:
    ranged = LAYOUT.replace('unit = "l/h" }', 'unit = "l/h", range = [1, 9] }')
    (row,) = heard(read("3A20", "FF" * 10), names=NAMES + ranged).trims
    assert row.notes == ("blank",)
    assert row.unit == "l/h"
