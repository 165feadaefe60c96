"""Random sessions, faults and addressings: no word that what the module holds contradicts; and rubbish never crashes.

The simulator's module is asked what it really holds. *Confirmed* must be so; a part that is not whole must be
failed or interrupted. *Unproven* may be either: a value never read back, a part never checked, a power cycle nobody
saw. ``python -m tests.long_run sessions --trials 1000`` plays more.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from planting.fuzz import fuzz
from planting.sessions import against_truth, play_random, random_session
from planting.trial import Setting, report_of_text
from simulator.bench import Bench, Plan
from simulator.bench_faults import FAULTS
from simulator.sessions import play

PIECES, SESSIONS, FUZZ = 6, 150, 150


@pytest.mark.parametrize("piece", range(PIECES))
def test_no_word_contradicts_what_the_module_holds(piece: int, tmp_path: Path) -> None:
    for seed in range(piece, SESSIONS, PIECES):
        assert play_random(seed, tmp_path / "session.log").wrong == [], seed


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_each_fault_alone_is_told_as_it_is(fault: str, tmp_path: Path) -> None:
    plan = Plan(faults=(fault,))
    scene = play(plan, 3)
    assert isinstance(scene, Bench)
    for names in (False, True):
        setting = Setting(plan, names=names)
        report = report_of_text("\n".join(scene.lines()) + "\n", setting, tmp_path / "session.log")
        assert list(against_truth(report, scene, plan)) == []


def test_the_seeds_cover_every_fault_and_every_addressing() -> None:
    plans = [random_session(seed) for seed in range(SESSIONS)]
    assert {fault for plan in plans for fault in plan.faults} == set(FAULTS)
    assert len({plan.addressing for plan in plans}) == 4


@pytest.mark.parametrize("piece", range(3))
def test_rubbish_in_a_good_capture_gives_a_report_or_an_error_with_a_hint(piece: int, tmp_path: Path) -> None:
    for seed in range(piece, FUZZ, 3):
        assert fuzz(seed, tmp_path / "rubbish.log") == [], seed
