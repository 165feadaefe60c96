"""A module is programmed again only behind its cause, and a step leads to that cause. Common practice, no source."""

from __future__ import annotations

import pytest
from talk import (
    ERASE,
    IMAGE,
    NAMES,
    SOFTWARE,
    ask,
    block,
    blocks,
    cyclic,
    enter,
    gap,
    heard,
    read,
    request,
    reset,
    state,
    tester,
)
from test_next_steps import report


def steps(fixture: str) -> tuple[str, ...]:
    return report(fixture).verdict.next_steps


def test_a_silent_module_is_not_programmed_again_only_because_it_answers() -> None:
    asked = [(tester("3E 00"), gap(2)) for _ in range(3)]
    verdict = heard(enter(), ask(*ERASE), request(), blocks()[:2], asked, cyclic(0x120, times=50)).verdict
    assert verdict.next_steps[2] == (
        "Program 7E0>7E8 again once it answers and the cause is known, with a support unit connected, from the "
        "programming session, and capture all of it."
    )


def test_an_erase_refused_because_memory_gave_trouble_leads_to_the_supply() -> None:
    cause = steps("uds11-erase-refused")[1]
    assert cause == (
        "Check the supply of PCU under load, and read its software identification: 72 says that the memory gave "
        "trouble, the old software may be gone."
    )


def test_an_erase_refused_for_another_reason_asks_who_answers() -> None:
    found = heard(enter(), ask("31 01 FF00", "7F 31 22")).verdict.next_steps
    assert not any("72" in step for step in found)
    assert any("identification" in step for step in found)


def test_a_supply_outside_the_limits_is_measured_whatever_its_code_in_the_dialect() -> None:
    assert steps("gmw-transfer-refused")[1] == (
        "Measure the supply at LGU under load, and bring it into the limits of the service information: a block was "
        "refused: 83 supply voltage outside the limits."
    )


def test_the_same_code_in_uds_speaks_of_the_engine() -> None:
    refused = block(3, IMAGE[64:], "7F 36 83")
    found = heard(enter(), ask(*ERASE), request(), blocks()[:2], refused).verdict.next_steps
    assert not any("supply at" in step for step in found)


def test_a_boot_loader_found_without_its_story_leads_to_the_recording_of_it() -> None:
    assert steps("coach-next-day")[1:3] == (
        "Look for the recording of the last programming of DUC and read both together, or find out whether DUC is new: "
        "why its application does not run is not shown here.",
        "Program DUC once the cause is known, from the programming session, and capture all of it.",
    )


def test_a_boot_loader_with_its_story_needs_no_other_recording() -> None:
    assert not any("last programming" in step for step in steps("uds11-boot-mode-after-reset"))
    both = report("coach-ends-mid-transfer", "coach-next-day").verdict.next_steps
    assert not any("last programming" in step for step in both)


def test_a_loss_in_the_recording_asks_for_no_new_job_and_comes_last() -> None:
    found = report("coach-frame-missing-in-log", sheet=False, names=False).verdict.next_steps
    assert found == (
        "Give a names file (--names) that says what the status of routine 0340 means.",
        "Set a filter on the diagnostic ids for the next recording: frames of this one are lost. Repeat no job only "
        "for the sake of a recording.",
    )


@pytest.mark.parametrize(
    ("code", "unit"),
    [
        (
            "92",
            "Connect a support unit fit for programming only once the supply is down in its limits, and leave it on",
        ),
        ("93", "Connect a support unit fit for programming, and leave it on"),
    ],
)
def test_a_supply_that_is_too_high_is_brought_down_before_a_support_unit_is_connected(code: str, unit: str) -> None:
    found = heard(enter(), ask("31 01 FF00", f"7F 31 {code}")).verdict.next_steps
    assert [step for step in found if step.startswith(unit)]
    if code == "92":
        assert found[0].startswith("Bring the supply of 7E0>7E8 down")
        assert found[1].startswith(unit)


@pytest.mark.parametrize("check", ["71 01 0266 00", None], ids=["confirmed", "not proven"])
def test_a_module_whose_programming_stands_is_not_programmed_again_for_a_try_that_touched_nothing(
    check: str | None,
) -> None:
    done = [enter(), ask(*ERASE), request(), blocks(), ask("37", "77"), ask("31 01 0266", check) if check else ()]
    again = [reset(), read("F188", b"PCU-SW-1299"), enter(), ask("31 01 FF00", "7F 31 22"), reset()]
    found = heard(read("F188", SOFTWARE), done, again, read("F188", b"PCU-SW-1299"), names=NAMES)
    said = " ".join(found.verdict.next_steps)
    assert "Program PCU again only if more was meant" in said
    assert "once the cause is known" not in said
    assert "the programming before it stands" in state(found).advice


def test_one_whose_programming_before_was_broken_off_is() -> None:
    begun = [enter(), ask(*ERASE), request(), blocks()[0], reset()]
    found = heard(begun, enter(), ask("31 01 FF00", "7F 31 22"), reset(), read("F188", SOFTWARE), names=NAMES)
    assert "only if more was meant" not in " ".join(found.verdict.next_steps)
    assert "stands" not in state(found).advice
