"""The trials outside CI: nothing ends them early, and what they find does not depend on the number of processes."""

from __future__ import annotations

import re
import subprocess
import sys
from io import StringIO
from pathlib import Path

import pytest
from planting.many import INTERRUPTED, Found, run

ROOT = Path(__file__).parents[2]


def trial(number: int) -> Found:
    if number == 2:
        raise ZeroDivisionError("planted")
    if number == 7:
        raise KeyboardInterrupt
    return (f"kind {number % 2}",), ["a wrong word"] * (number == 4)


def test_an_exception_is_counted_with_its_trial_and_the_trials_go_on() -> None:
    out = StringIO()
    assert run(trial, range(6), 1, out) == 1
    said = out.getvalue()
    assert said.startswith("2: Traceback")
    assert "ZeroDivisionError: planted" in said
    assert re.search(
        r"\n +2  kind 0\n +3  kind 1\n +6  trials in \d+ s, wrong: 2\n$", said.replace("a wrong word\n", "")
    )


def test_ctrl_c_leaves_the_counts_of_the_trials_made() -> None:
    out = StringIO()
    assert run(trial, (1, 3, 7, 5), 1, out) == INTERRUPTED
    assert re.search(r"\n +2  trials in \d+ s, stopped by Ctrl-C, 4 were asked for; wrong: 0\n$", out.getvalue())
    assert run(trial, (4, 7), 1, out) == 1


def test_all_good_is_code_0() -> None:
    assert run(trial, (1, 3, 5), 1, StringIO()) == 0


@pytest.mark.parametrize("what", [("faults", "--fault", "alter", "--trials", "6"), ("fuzz", "--trials", "20")])
def test_the_number_of_processes_changes_nothing(what: tuple[str, ...]) -> None:
    said = [
        subprocess.run(
            [sys.executable, "-m", "tests.long_run", *what, "--seed", "9", "--processes", processes],
            cwd=ROOT, capture_output=True, text=True, check=True,
        ).stdout
        for processes in ("1", "2")
    ]  # fmt: skip
    alone, shared = (re.sub(r"in \d+ s", "", one) for one in said)
    assert alone == shared
    assert "trials" in alone
