"""A VIN that one tester wrote has not changed by itself where another tester reads it. Common practice, no source."""

from __future__ import annotations

from talk import Side, Talk, heard, read, write

FIRST, SECOND = Side(0x18DA2AF1, 0x18DAF12A), Side(0x18DA2AF9, 0x18DAF92A)
OLD, NEW = b"E0KRC5HTXRD002086", b"E0KRC7HT5TD004217"


def changed(*talk: Talk) -> list[str]:
    return [item.id for item in heard(*talk).findings if item.id == "vin-changed"]


def test_a_vin_that_the_other_tester_wrote_was_written() -> None:
    between: list[Talk] = [read("F190", OLD, on=FIRST), write("F190", NEW, on=FIRST), read("F190", NEW, on=FIRST)]
    assert changed(read("F190", OLD, on=SECOND), *between, read("F190", NEW, on=SECOND)) == []


def test_a_vin_that_neither_tester_wrote_changed_by_itself() -> None:
    between = [read("F190", OLD, on=FIRST), write("3A01", "0102", on=FIRST)]
    assert changed(read("F190", OLD, on=SECOND), *between, read("F190", NEW, on=SECOND)) == ["vin-changed"]
