"""A recording that ends in the programming session: nothing may be restarted before what is still to come is done."""

from __future__ import annotations

from talk import CHECK, ERASE, ask, download, enter, heard, read, reset, state

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
