"""In which company a module fell silent: by itself, with its branch, with everybody but the tester.

Common practice, no source.
"""

from __future__ import annotations

import pytest
from talk import ERASE, IMAGE, KEEPER, Side, Talk, ask, block, cyclic, enter, gap, heard, read, request, tester

from analysis.breaks.company import silent_with
from analysis.breaks.silence import Silent

BEFORE: list[Talk] = [
    read("F190", "41", on=KEEPER), read("F190", "41"), enter(), ask(*ERASE), request(), cyclic(0x120, 10),
    block(1, IMAGE[:32]),
]  # fmt: skip
RETRIES = [[tester("3E 00"), gap(2)] for _ in range(3)]
KEEPER_IN_VAIN = [[tester("22 F190", on=KEEPER), gap(2)] for _ in range(2)]
KEEPER_ANSWERS = read("F190", "42", on=KEEPER)
OTHERS = cyclic(0x121, 100)


def company(*talk: Talk) -> tuple[Silent, set[int]]:
    report = heard(*talk)
    story = next(one for one in report.record.stories if one.link.request_id == 0x7E0)
    found = silent_with(story, report.record)
    return found.who, {one.link.request_id for one in found.stories}


def test_two_modules_that_are_silent_from_one_moment_on_are_a_branch() -> None:
    assert company(BEFORE, RETRIES, KEEPER_IN_VAIN, OTHERS) == (Silent.BRANCH, {0x7E0, 0x7E1})


def test_a_module_that_still_answered_behind_the_first_silence_is_of_no_branch() -> None:
    late = [RETRIES, KEEPER_ANSWERS, KEEPER_IN_VAIN, OTHERS]
    assert company(BEFORE, late) == (Silent.MODULE, {0x7E0})


def test_a_module_on_another_channel_is_of_no_branch() -> None:
    far = Side(0x7E1, 0x7E9, "can1")
    there = [read("F190", "41", on=far)]
    vain = [[tester("22 F190", on=far), gap(2)] for _ in range(2)]
    assert company(there, BEFORE[1:], RETRIES, vain, OTHERS)[0] is Silent.MODULE


def test_where_everybody_stops_but_the_tester_it_is_alone() -> None:
    assert company(BEFORE, RETRIES, KEEPER_IN_VAIN)[0] is Silent.ALL_BUT_TESTER


def test_one_module_whose_cyclic_ids_stop_with_it_is_only_silent() -> None:
    """They may be its own."""
    assert company(BEFORE, RETRIES)[0] is Silent.MODULE


@pytest.mark.parametrize("long_before", [0, 5])
def test_without_an_id_that_stopped_with_it_only_the_module_is_silent(long_before: int) -> None:
    """An id that was gone long before says nothing, and a line without any says less."""
    talk = [cyclic(0x120, long_before), gap(10), BEFORE[:5], block(1, IMAGE[:32]), RETRIES, KEEPER_IN_VAIN]
    assert company(talk)[0] is Silent.MODULE


def test_the_report_says_it_where_it_says_who_fell_silent_first() -> None:
    alone = heard(BEFORE, RETRIES, KEEPER_IN_VAIN).to_dict()["post_mortem"]
    branch = heard(BEFORE, RETRIES, KEEPER_IN_VAIN, OTHERS).to_dict()["post_mortem"]
    assert (alone["silent_first"], branch["silent_first"]) == ("all-but-tester", "branch")
    assert any("line or a connector" in one["cause"] for one in alone["explanations"])
    assert any("several modules share" in one["cause"] for one in branch["explanations"])
