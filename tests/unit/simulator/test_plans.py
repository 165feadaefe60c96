"""Acts and faults in any mix, on any addressing, come to an end."""

from __future__ import annotations

from random import Random

import pytest
from simulator.bench import ACTS, ADDRESSINGS, WHOLE_JOB, Plan, random_plan
from simulator.bench_faults import FAULTS
from simulator.sessions import play, session


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_every_fault_ends_somewhere(fault: str) -> None:
    acts = (*WHOLE_JOB, "learn", "wait", "read-faults")
    lines, truth = session(Plan(acts=acts, faults=(fault,)), seed=3)
    assert 50 < len(lines) < 4000
    assert truth["what_was_done"]
    healthy, _ = session(Plan(acts=acts), seed=3)
    assert lines != healthy


@pytest.mark.parametrize("addressing", sorted(ADDRESSINGS))
def test_every_addressing_gets_the_job_done(addressing: str) -> None:
    scene = play(Plan(addressing=addressing), seed=8)
    pump = scene.modules["PCU"]
    assert pump.application_valid
    assert pump.values.stored[0x3A04] == scene.modules["PMU"].values.stored[0x3A04]
    assert pump.dtcs == {}


def test_random_plans_with_two_faults_end_and_repeat() -> None:
    rnd = Random(11)
    for seed in range(30):
        faults = tuple(rnd.sample(sorted(FAULTS), 2))
        plan = random_plan(rnd, faults=faults)
        assert session(plan, seed) == session(plan, seed), plan


def test_acts_can_stand_in_another_order() -> None:
    acts = (
        "read-keeper",
        "write-trims",
        "write-vin",
        "restart",
        "read-trims",
        "enter-loader",
        "calibration",
        "fit",
        "reset",
    )
    assert set(acts) <= set(ACTS)
    scene = play(Plan(acts=acts), seed=1)
    assert scene.modules["PCU"].state == "application"


def test_a_random_plan_without_faults_always_gets_the_job_done() -> None:
    rnd = Random(23)
    for seed in range(40):
        plan = random_plan(rnd)
        scene = play(plan, seed)
        pump, keeper = scene.modules["PCU"], scene.modules["PMU"]
        assert pump.state == "application", plan
        assert all(pump.values.stored[one] == keeper.values.stored[one] for one in range(0x3A01, 0x3A05)), plan
        assert pump.values.stored[0xF188] == b"PCU-SW-1207", plan
