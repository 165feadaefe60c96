"""Every kind of outcome that the simulator plays, with seeds of its own: what the module holds, and every word.

``planting/outcomes.csv`` is the table. ``python -m tests.long_run sessions --trials 1000`` plays more of them.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from planting.outcomes import Kind, kinds, play_kind
from simulator.bench import DRAWN, Bench
from simulator.bench_faults import FAULTS
from simulator.older_bench import FAULTS as OLDER_FAULTS

from analysis.words import Word

ALL = kinds()


@pytest.mark.parametrize("kind", ALL, ids=lambda kind: kind.name)
def test_a_kind_of_outcome_is_told_as_it_is(kind: Kind, tmp_path: Path) -> None:
    assert play_kind(kind, 5, tmp_path / "session.log").wrong == []


def test_the_table_has_every_fault_every_word_and_every_dialect() -> None:
    assert len({kind.name for kind in ALL}) == len(ALL) >= 40
    assert {fault for kind in ALL for fault in kind.faults} == set(FAULTS) | set(OLDER_FAULTS)
    assert {kind.dialect for kind in ALL} == {"uds", "kwp", "gmw"}
    told = Counter(word for kind in ALL for word in kind.words.values())
    assert set(told) == set(Word)


def test_seeds_of_one_kind_differ_in_addressing_and_in_bytes() -> None:
    scenes = [ALL[0].play(seed)[0] for seed in range(12)]
    assert {scene.plan.addressing for scene in scenes if isinstance(scene, Bench)} == set(DRAWN)
    assert len({scene.lines()[-1] for scene in scenes}) == len(scenes)


def test_a_word_that_is_not_the_tables_is_found(tmp_path: Path) -> None:
    """Each kind is held against the row of another: the comparison would notice."""
    good, bad = ALL[0], next(kind for kind in ALL if kind.name == "transfer-refused")
    mistaken = Kind(good.name, good.dialect, good.acts, good.faults, bad.held, bad.words)
    wrong = play_kind(mistaken, 5, tmp_path / "session.log").wrong
    assert any("programming confirmed, not failed" in one for one in wrong)
    assert any("holds application new, not part" in one for one in wrong)
