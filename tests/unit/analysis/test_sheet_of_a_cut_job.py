"""Items of the sheet where the recording ends between two parts: only what was programmed can be "not proven"."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.job import analyse
from analysis.words import Word

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
GOOD = (FIXTURES / "coach-all-good" / "capture.log").read_bytes()


def items(capture: bytes, tmp_path: Path) -> dict[str, tuple[Word, str]]:
    path = tmp_path / "cut.log"
    path.write_bytes(capture)
    report = analyse(path, FIXTURES / "coach.toml", [FIXTURES / "coach_names.toml"])
    return {item.item.partition(": ")[2]: (item.word, item.note) for item in report.expectations}


def test_a_part_that_was_never_asked_for_is_not_shown(tmp_path: Path) -> None:
    found = items(GOOD[:330_000], tmp_path)
    assert found["software"] == (Word.UNPROVEN, "no restart in this recording since")
    assert found["calibration"] == found["CVN"] == (Word.NOT_SHOWN, "only another part was programmed")


@pytest.mark.parametrize("lines", [7104, 7108])
def test_what_was_programmed_without_a_restart_says_that_none_is_there(lines: int, tmp_path: Path) -> None:
    found = items(b"".join(GOOD.splitlines(keepends=True)[:lines]), tmp_path)
    assert found["software"] == (Word.UNPROVEN, "no restart in this recording since")
    assert found["calibration"] == (Word.UNPROVEN, "no restart in this recording since")
