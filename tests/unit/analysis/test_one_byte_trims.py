"""Dialects with identifiers of one byte (ISO 14230-3 (M), GMW3110 1.6): their trims are told like those of two."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.job import analyse
from analysis.words import Word

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"


@pytest.mark.parametrize("fixture", ["kwp-all-good", "kwp-read-back-differs", "gmw-all-good", "gmw-read-back-differs"])
def test_a_trim_of_one_byte_shows_what_was_written_and_read_back(fixture: str) -> None:
    names = FIXTURES / f"{fixture[:3]}_names.toml"
    report = analyse(FIXTURES / fixture / "capture.log", None, [names])
    numbers = [item.identifier for item in report.trims if item.written is not None]
    assert numbers == ([0x21, 0x22, 0x23] if fixture.startswith("kwp") else [0xA1, 0xA2, 0xA3])
    for item in report.trims:
        assert item.operation is not None
        assert item.read_back is not None
        assert (item.read_back == item.written) is (item.word is Word.CONFIRMED)
