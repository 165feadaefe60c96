"""A good session cut anywhere: nothing is confirmed whose proof lies behind the cut, and nothing crashes.

Where the proof lies is known from the simulator, not from the product (``planting.ledger``): the read-back of a
write, the good answer of a check, the list of faults behind a clear. Long sessions whole:
``python -m tests.long_run cuts --session coach-all-good``.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from planting.faults import clean
from planting.trial import SETTINGS, Setting, clean_report, cut_at, cut_lines, ledger_of, report_of

from analysis.operations.model import Part
from analysis.words import Word

SHORT, LONG = SETTINGS[:2], SETTINGS[2:]
PIECES = 8  # a short session is cut behind every line, in so many tests


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "cut.log"


@pytest.mark.parametrize("piece", range(PIECES))
@pytest.mark.parametrize("setting", SHORT, ids=str)
def test_a_short_session_cut_behind_and_inside_every_line(setting: Setting, piece: int, place: Path) -> None:
    for line in cut_lines(setting)[piece::PIECES]:
        assert cut_at(setting, line, place) == [], line


@pytest.mark.parametrize("setting", LONG, ids=str)
def test_a_session_cut_here_and_there(setting: Setting, place: Path) -> None:
    for line in cut_lines(setting)[5::23]:
        assert cut_at(setting, line, place) == [], line


def test_the_coach_cut_just_in_front_of_and_just_behind_each_proof(place: Path) -> None:
    setting = Setting("coach-all-good", names=True)
    ledger = ledger_of(setting)
    ends = sorted({proof.parts[-1].answer.rows[-1] for act in ledger.acts if act.exchanges for proof in act.proofs})
    assert len(ends) > 10
    for row in ends[:: len(ends) // 6]:
        assert cut_at(setting, row, place) == [], row
        assert cut_at(setting, row + 1, place) == [], row


@pytest.mark.parametrize("setting", SETTINGS, ids=str)
def test_each_word_appears_with_its_proof_and_not_before(setting: Setting, place: Path) -> None:
    """The last frame of its only proof decides over a write and over a clear."""
    ledger = ledger_of(setting)
    rows = clean(ledger)
    parts = {"clear": Part.FAULT_MEMORY, "F190": Part.VIN}
    for act in ledger.acts:
        part = parts.get(act.subject)
        if part is None:
            continue
        last = act.proofs[0].parts[0].answer.rows[-1] + 1
        words = [report_of(rows[:line], setting, place).verdict.parts[part].word for line in (last - 1, last)]
        assert words == [Word.UNPROVEN, Word.CONFIRMED], act.subject
    assert clean_report(setting, place).verdict.overall is Word.CONFIRMED
