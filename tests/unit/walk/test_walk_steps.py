"""A session as steps: nothing is lost, and what people tell in one breath is one step."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from analysis import analyse
from analysis.checks.runner import load_checks
from analysis.walk.content import content_of
from analysis.walk.masks import NO_MASKS
from analysis.walk.reasons import REASONS
from analysis.walk.steps import Walk, walk_through
from canlog.services.traits import Act

FIXTURES = Path(__file__).parents[3] / "fixtures"


def walk_of(name: str) -> Walk:
    capture = next((FIXTURES / name).glob("capture.*"))
    return walk_through(analyse(capture, names=[FIXTURES / f"{name.partition('-')[0]}_names.toml"]))


@pytest.fixture(scope="module")
def coach() -> Walk:
    return walk_of("coach-all-good")


@pytest.fixture(scope="module")
def van() -> Walk:
    return walk_of("van-wrong-calibration")


def test_every_exchange_is_in_one_step_or_counted_as_keep_alive(coach: Walk) -> None:
    inside = [one.number for step in coach.steps for one in step.exchanges]
    assert len(inside) == len(set(inside))
    left = [one for one in coach.report.record.exchanges if one.number not in set(inside)]
    assert len(left) == coach.kept_alive == 34
    assert {one.act for one in left} == {Act.TESTER_PRESENT}


def test_three_hundred_blocks_are_one_step_that_can_be_opened(van: Walk) -> None:
    runs = [step for step in van.steps if step.is_run]
    assert [len(step.exchanges) for step in runs] == [300]
    assert len(content_of(van, runs[0]).members) == 300
    assert "block 01 to block 2C: 300 blocks, 38,400 bytes" in runs[0].told


def test_one_request_to_all_with_five_answers_is_one_step(coach: Walk) -> None:
    clear = next(step for step in coach.steps if step.act is Act.CLEAR)
    assert clear.to_all and len(clear.exchanges) == 5


def test_steps_are_numbered_from_one_in_order(coach: Walk) -> None:
    assert [step.number for step in coach.steps] == list(range(1, len(coach.steps) + 1))


def test_every_act_has_a_reason_with_a_source_and_known_findings() -> None:
    assert set(REASONS) == set(Act)
    known = load_checks()
    for reason in REASONS.values():
        assert reason.why.endswith(".") and reason.settles.endswith(".") and reason.source
        assert "(M)" in reason.source or reason.source == "common practice, no source"
        assert not set(reason.risks) - set(known)


def test_seeds_and_keys_are_masked_and_firmware_is_never_shown(coach: Walk) -> None:
    unlock = [step for step in coach.steps if step.act is Act.UNLOCK]
    rows = [row for step in unlock for row in (*content_of(coach, step).sent, *content_of(coach, step).received)]
    assert any(row.says == "masked" for row in rows)
    assert not [row for row in rows if "5A 3C 91 E7" in row.octets or "90 CE E9 08" in row.octets]
    whole = replace(coach, masks=NO_MASKS)
    shown = [content_of(whole, step).received for step in unlock]
    assert [row for rows in shown for row in rows if "5A 3C 91 E7" in row.octets]
    block = content_of(whole, next(step for step in coach.steps if step.is_run))
    assert block.sent[-1].octets == "…" and block.sent[-1].says == "1,024 bytes of memory, not shown"


def test_the_bytes_of_all_rows_are_the_bytes_of_the_message(coach: Walk) -> None:
    for step in coach.steps:
        if step.act is Act.BLOCK or len(step.first.asked) > 20:
            continue
        rows = content_of(replace(coach, masks=NO_MASKS), step).sent
        assert "".join(row.octets for row in rows).replace(" ", "") == step.first.asked.hex().upper()


def test_a_request_repeated_and_answered_alike_is_one_step(coach: Walk) -> None:
    polled = [step for step in coach.steps if step.told.endswith(", 2 times") and not step.to_all]
    assert [step.told for step in polled] == ["result of routine 0340 (learn clutch fill): running, 2 times"]
    assert len(content_of(coach, polled[0]).members) == 2
    behind = coach.steps[polled[0].number]
    assert behind.first.asked == polled[0].first.asked and behind.first.answered != polled[0].first.answered
