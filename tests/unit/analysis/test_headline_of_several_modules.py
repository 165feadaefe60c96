"""The headline says of each module what became of it, and of no module what became of another."""

from __future__ import annotations

import pytest
from talk import KEEPER, NAMES, Talk, ask, heard, read, write
from test_next_steps import report

SEEN: list[Talk] = [read("F190", "41"), read("F190", "41", on=KEEPER)]
GOOD: list[Talk] = [write("3A01", "0102"), read("3A01", "0102")]


def headline(*talk: Talk, **more: str) -> str:
    return heard(SEEN, *talk, **more).verdict.headline


def test_parts_that_failed_in_two_modules_stand_each_with_its_own() -> None:
    vin = write("F190", b"E0KRC7HT5TD004217", "7F 2E 22", on=KEEPER)
    assert headline(write("3A01", "0102", "7F 2E 31"), vin) == (
        "7E0>7E8: trims and configuration failed: 3A01: the write was refused, 31 unknown identifier or address, or a "
        "value that is not allowed; 7E1>7E9: VIN failed."
    )


def test_two_parts_that_failed_in_one_module_stand_together() -> None:
    found = headline(write("3A01", "0102", "7F 2E 22"), ask("14 FFFFFF", "7F 14 22"))
    assert found.startswith("7E0>7E8: trims and configuration, fault memory failed: 3A01: the write was refused, 22")
    assert found.count("failed") == 1


def test_what_is_proved_at_one_module_is_not_called_open_there() -> None:
    found = headline(GOOD, write("3A01", "0103", on=KEEPER))
    assert found == "7E0>7E8, 7E1>7E9: trims and configuration (7E1>7E9) done but not proved."


def test_what_is_open_at_every_module_names_none_twice() -> None:
    found = headline(write("3A01", "0102"), write("3A01", "0103", on=KEEPER))
    assert found == "7E0>7E8, 7E1>7E9: trims and configuration done but not proved."


SHEET = """
[[module]]
label = "PCU"
link = "7E0:7E8"
configuration = [{ identifier = "3A01", value = "0102" }]
[[module]]
label = "PMU"
link = "7E1:7E9"
configuration = [{ identifier = "3A01", value = "0103" }]
"""


@pytest.mark.parametrize("names", ["", NAMES])
def test_the_same_with_a_sheet(names: str) -> None:
    found = headline(GOOD, write("3A01", "0103", on=KEEPER), sheet=SHEET, names=names)
    assert "trims and configuration (PMU) done but not proved" in found


def test_a_part_number_that_begins_like_the_module_does_not_stand_for_it() -> None:
    found = report("uds11-all-good-short").verdict.headline
    assert found.startswith("Other software or calibration than the job sheet asks for: PCU: software is PCU-SW-1204")


def test_a_module_that_the_case_names_is_named_once() -> None:
    assert report("coach-foreign-keeper").verdict.headline.count("VBM") == 1
