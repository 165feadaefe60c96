"""A recording that ends before a programming does: nobody has failed, and what is still to come may have been done."""

from __future__ import annotations

import pytest
from talk import (
    CHECK,
    ERASE,
    IMAGE,
    Talk,
    ask,
    block,
    blocks,
    cyclic,
    download,
    enter,
    heard,
    read,
    request,
    reset,
    state,
    tester,
)

OPEN_CHECK = ask(CHECK, f"71 {CHECK[3:]} 05")


def test_a_check_that_nothing_explains_is_no_reason_to_restart_the_module() -> None:
    found = heard(enter(), ask(*ERASE), download(), OPEN_CHECK)
    assert found.verdict.next_steps == (
        "Give a names file (--names) that says what the status of the check means.",
        "Look for the rest of the recording: it ends in the programming session of 7E0>7E8. If there is none, end the "
        "programming as the service information says, and only then read the software identification and capture that.",
    )
    left = state(found)
    assert left.cautions[0] == "Do not switch off, unplug or reset the module in the middle of its programming."
    assert "Look for the rest of the recording" in left.advice
    assert "ignition cycle" not in left.advice


def test_a_module_that_was_restarted_is_asked_who_it_is_after_an_ignition_cycle() -> None:
    found = heard(enter(), ask(*ERASE), download(), OPEN_CHECK, reset(), read("F190", b"AB"))
    assert any(step.startswith("Cycle the ignition, then read") for step in found.verdict.next_steps)
    assert state(found).cautions == ()


LAST_BLOCK = IMAGE[64:]


@pytest.mark.parametrize("last", [[], [tester(b"\x36\x03" + LAST_BLOCK)]], ids=["answered", "not answered"])
def test_a_recording_that_ends_in_a_transfer_blames_nobody(last: list[Talk]) -> None:
    verdict = heard(enter(), ask(*ERASE), request(), blocks()[:2], last).verdict
    assert verdict.headline.startswith(
        "7E0>7E8: programming interrupted: the transfer reached 2 blocks, 64 of 96 bytes (66.7 %), then the recording "
        "ends; only its boot loader answered."
    )
    assert verdict.next_steps[1:] == (
        "Look for the rest of the recording, or read the identification of 7E0>7E8 with the ignition left on and "
        "capture that.",
        "Program 7E0>7E8 again only if that shows that the programming did not end.",
    )
    assert "stopped" not in " ".join(verdict.parts["programming"].because)


def test_a_tester_that_stops_in_a_transfer_is_no_end_of_the_recording() -> None:
    bus = cyclic(0x120, times=100)
    verdict = heard(cyclic(0x120), enter(), ask(*ERASE), request(), blocks()[:2], bus).verdict
    assert "the tester fell silent in the middle" in verdict.headline
    assert any("once the cause is known" in step for step in verdict.next_steps)


def test_a_refused_block_in_front_of_the_end_of_the_recording_is_still_the_cause() -> None:
    refused = block(3, LAST_BLOCK, "7F 36 72")
    verdict = heard(enter(), ask(*ERASE), request(), blocks()[:2], refused, tester("22 F180")).verdict
    assert "a block was refused" in verdict.headline
    assert not any("Look for the rest" in step for step in verdict.next_steps)
