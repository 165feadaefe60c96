"""Millions of unreadable lines in a row count once, however an act lies to them."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.trust.doubts import MOST_NOTES, _first_of_runs


@pytest.mark.parametrize(
    ("lines", "kept"),
    [
        ([], []),
        ([1], [1]),
        ([3, 4, 5, 9], [3, 4, 5, 9]),
        (list(range(1, 1001)), list(range(1, MOST_NOTES + 1))),
        ([2, *range(10, 30), 40], [2, *range(10, 10 + MOST_NOTES), 40]),
    ],
)
def test_of_each_run_the_first_lines_stand_for_all(lines: list[int], kept: list[int]) -> None:
    assert _first_of_runs(np.array(lines, dtype=np.int64)) == kept
    every_run = {line for line in lines if line - 1 not in lines}
    assert every_run <= set(kept)
