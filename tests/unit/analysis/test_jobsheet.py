"""The job sheet: what it says, and every mistake with file, line and field."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.sheet.jobsheet import load_job_sheet
from canlog.errors import SheetError

GOOD = """
[vehicle]
vin = "E0VLK3P06SM018931"
[[module]]
label = "PCU"
link = "can0:7E0:7E8"
programming = { software = "A", calibration = "B", cvn = "3E69 0155" }
vin = "write"
trims = [ { identifiers = "4A10-4A12, 4A1F", copied_from = "PMU" } ]
configuration = [ { identifier = "4D05", value = "141F 0C" } ]
learn = [ "0340" ]
clear_faults = true
[[module]]
label = "PMU"
"""


def load(tmp_path: Path, text: str) -> object:
    path = tmp_path / "job.toml"
    path.write_text(text)
    return load_job_sheet(path)


def test_a_whole_sheet_is_read(tmp_path: Path) -> None:
    sheet = load(tmp_path, GOOD)
    pump = sheet.module("PCU")
    assert sheet.vin == "E0VLK3P06SM018931"
    assert pump.programming == (("software", "A"), ("calibration", "B"), ("cvn", "3E69 0155"))
    assert [one.identifier for one in pump.trims] == [0x4A10, 0x4A11, 0x4A12, 0x4A1F]
    assert {one.copied_from for one in pump.trims} == {"PMU"}
    assert pump.configuration[0].value == bytes.fromhex("141F0C")
    assert (pump.learn, pump.clear_faults, pump.vin) == ((0x0340,), True, "write")
    assert sheet.module("PMU").link is None
    assert sheet.module("nobody") is None
    assert len(sheet.sha256) == 64


def test_its_links_are_labels_too(tmp_path: Path) -> None:
    names = load(tmp_path, GOOD).names()
    assert [(one.label, one.link_key, one.channel) for one in names] == [("PCU", "7E0>7E8", "can0")]


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("E0VLK3P06SM018931", "E0VLK3P06SM01893", "vin"),
        ("E0VLK3P06SM018931", "E0VLK3P06SO018931", "vin"),
        ('label = "PCU"', "label = 7", "label"),
        ('label = "PCU"', "", "label"),
        ('"can0:7E0:7E8"', '"7E0"', "link"),
        ('"3E69 0155"', '"3E6"', "cvn"),
        ('vin = "write"', 'vin = "perhaps"', "vin"),
        ("4A10-4A12", "4A1", "identifiers"),
        ("4A10-4A12", "4A12-4A10", "identifiers"),
        ('copied_from = "PMU"', 'copied_from = "NONE"', "trims"),
        (', copied_from = "PMU"', "", "identifiers"),
        ('value = "141F 0C"', 'value = "141"', "value"),
        ('value = "141F 0C"', 'value = "14", copied_from = "PMU"', "value"),
        ('"0340"', '"340"', "learn"),
        ("clear_faults = true", 'clear_faults = "yes"', "clear_faults"),
        ("clear_faults = true", "clear_fault = true", "clear_fault"),
        ("[vehicle]", "[car]", "car"),
        ('vin = "E0VLK3P06SM018931"', "", "vin"),
        ('label = "PMU"', 'label = "PCU"', "label"),
    ],
)
def test_every_mistake_names_file_line_and_field(tmp_path: Path, old: str, new: str, field: str) -> None:
    with pytest.raises(SheetError) as caught:
        load(tmp_path, GOOD.replace(old, new, 1))
    assert "job.toml" in str(caught.value)
    assert field in str(caught.value)
    assert any(character.isdigit() for character in str(caught.value))
    assert caught.value.hint


@pytest.mark.parametrize("text", ["= 3", "[vehicle", "vehicle = 3", "module = 4", "module = [3]"])
def test_what_is_no_sheet_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(SheetError):
        load(tmp_path, text)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SheetError):
        load_job_sheet(tmp_path / "none.toml")
