"""A break, and the module read again in a later recording: what is said of the break does not change by that."""

from __future__ import annotations

from pathlib import Path

import pytest
from simulator import Plan, session

from analysis import analyse
from analysis.breaks.postmortem import PostMortem
from analysis.breaks.silence import Silent

FIXTURES = Path(__file__).parents[3] / "fixtures"
NEXT_DAY = "coach-next-day"
TESTER = "the tester, its computer or its adapter"
MODULE = "the module alone lost its supply, hung or restarted by itself"


def told_of(*names: str) -> PostMortem:
    paths = [FIXTURES / name / "capture.log" for name in names]
    found = analyse(paths, None, [FIXTURES / "coach_names.toml"]).post_mortem
    assert found is not None
    return found


@pytest.mark.parametrize("name", ["coach-tester-silent", "coach-module-silent", "coach-ends-mid-transfer"])
def test_who_fell_silent_is_told_of_the_recording_of_the_break(name: str) -> None:
    alone, both = told_of(name), told_of(name, NEXT_DAY)
    assert both.silent_first is alone.silent_first
    assert both.first_bad == alone.first_bad


@pytest.mark.parametrize(("name", "cause"), [("coach-tester-silent", TESTER), ("coach-module-silent", MODULE)])
def test_its_cause_stands_although_the_module_answers_again(name: str, cause: str) -> None:
    found = told_of(name, NEXT_DAY)
    assert [one.cause for one in found.explanations] == [cause]
    assert {one.capture for one in found.explanations[0].signs_for} == {1}


@pytest.mark.parametrize(
    ("fault", "silent", "cause"),
    [
        ("branch-silent", Silent.BRANCH, "what several modules share: gateway, fuse or wiring of a branch"),
        ("tester-alone", Silent.ALL_BUT_TESTER, "the supply was too weak"),
    ],
)
def test_what_fell_silent_with_others_is_told_as_well(fault: str, silent: Silent, cause: str, tmp_path: Path) -> None:
    acts = ("look", "read-keeper", "enter-loader", "calibration")
    first, _ = session(Plan(acts=acts, faults=(fault,)), seed=3)
    second, _ = session(Plan(acts=("look", "read-keeper")), seed=3)
    paths = [tmp_path / "evening.log", tmp_path / "morning.log"]
    for path, lines in zip(paths, (first, behind(first, second)), strict=True):
        path.write_text("\n".join(lines) + "\n")
    alone, both = analyse(paths[0]).post_mortem, analyse(paths).post_mortem
    assert alone is not None and both is not None
    assert (alone.silent_first, both.silent_first) == (silent, silent)
    assert cause in [one.cause for one in alone.explanations]
    assert cause in [one.cause for one in both.explanations]


def behind(first: list[str], second: list[str]) -> list[str]:
    """The second recording, an hour after the end of the first."""
    begin, end = (float(lines[at].split(")")[0][1:]) for lines, at in ((second, 0), (first, -1)))
    stamped = ((float(line.split(")")[0][1:]) - begin + end + 3600, line.partition(") ")[2]) for line in second)
    return [f"({time:.6f}) {rest}" for time, rest in stamped]


def test_a_boot_loader_in_the_next_recording_speaks_against_a_recording_that_only_ended() -> None:
    assert [one.cause for one in told_of("coach-ends-mid-transfer").explanations] != []
    assert told_of("coach-ends-mid-transfer", NEXT_DAY).explanations == ()
