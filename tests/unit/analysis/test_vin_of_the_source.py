"""A VIN written beside trims that came from a module which says another VIN."""

from __future__ import annotations

import pytest
from talk import KEEPER, Talk, heard, read, reset, write

VIN, OTHER = b"E0VLK3P06SM018931", b"E0KRC7HT5TD004217"
TRIM = "41 42 43 44 45 46"


def job(new: bytes, kept: bytes, *, is_read: bool = True, is_copied: bool = True) -> list[Talk]:
    trims = [write("3A01", TRIM), reset(), read("3A01", TRIM)]
    return [
        read("F190", kept, KEEPER), *([read("3A01", TRIM, KEEPER)] if is_copied else []),
        write("F190", new), *trims, *([read("F190", new)] if is_read else []),
    ]  # fmt: skip


@pytest.mark.parametrize("is_read", [True, False])
def test_it_reaches_the_first_sentence_and_has_a_step(is_read: bool) -> None:
    report = heard(*job(OTHER, VIN, is_read=is_read))
    found = [one for one in report.findings if one.id == "vin-disagrees"]
    assert [str(one.severity) for one in found] == ["serious"]
    assert "VIN" in report.verdict.headline and OTHER.decode() in report.verdict.headline
    assert "Find out which VIN is right" in report.verdict.next_steps[0]


def test_the_same_vin_is_none() -> None:
    report = heard(*job(VIN, VIN))
    assert not [one for one in report.findings if one.id.startswith("vin")]
    assert report.verdict.headline.startswith("All")


def test_another_vin_in_a_module_that_gave_nothing_is_a_warning() -> None:
    found = [one for one in heard(*job(OTHER, VIN, is_copied=False)).findings if one.id == "vin-disagrees"]
    assert [str(one.severity) for one in found] == ["warning"]
