"""Four times as much talk takes about four times as long: nothing is compared with everything else.

Eight times would be in the middle between a linear and a quadratic way. The processor's time is taken, and the better
of two runs, so that a busy machine changes little.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest
from talk import SOFTWARE, Side, Talk, ask, everybody, log_of, read

from analysis import analyse

RUNS, MOST = 2, 8.0
SIDES = [Side(0x18DA00F1 | number << 8, 0x18DAF100 | number) for number in range(24)]


def poll(times: int) -> list[Talk]:
    """One identification read again and again, as a live display does."""
    return [read("F188", SOFTWARE)] * times


def rounds(times: int) -> list[Talk]:
    """All modules asked by turns, and a request to all of them that nobody answers."""
    one = [ask("22 F188", "62 F188 41424344", on=side) for side in SIDES]
    return [*one, everybody("3E 80")] * times


def scan(modules: int) -> list[Talk]:
    """So many modules, each asked twice who it is."""
    sides = [Side(0x18DA00F1 | number << 8, 0x18DAF100 | number) for number in range(modules)]
    return [ask(f"22 {did}", f"62 {did} 41424344", on=side) for did in ("F188", "F190") for side in sides]


def best_s(talk: list[Talk], place: Path) -> float:
    place.write_text(log_of(*talk))
    taken = []
    for _ in range(RUNS):
        begin = time.process_time()
        report = analyse([place])
        taken.append(time.process_time() - begin)
    assert len(report.record.exchanges) >= len(talk)
    return min(taken)


@pytest.mark.parametrize(
    ("talk", "times"), [(poll, 1000), (rounds, 40), (scan, 50)], ids=["one module", "many modules", "more modules"]
)
def test_the_time_grows_with_the_length_of_the_talk(
    talk: Callable[[int], list[Talk]], times: int, tmp_path: Path
) -> None:
    short, long = (best_s(talk(count), tmp_path / f"{count}.log") for count in (times, 4 * times))
    assert long < MOST * short
