"""What was refused, or ended badly, is repeated only behind its cause; what was not answered is read first.

Common practice, no source; the vehicle maker's service information decides.
"""

from __future__ import annotations

import pytest
from talk import NAMES, Talk, ask, gap, heard, read, tester, write
from test_next_steps import report

SEEN: list[Talk] = [read("F190", "41"), read("3A01", "0101")]
VIN = b"E0KRC7HT5TD004217"


def first_step(*talk: Talk) -> str:
    return heard(SEEN, *talk, names=NAMES).verdict.next_steps[0]


def test_a_write_that_was_refused_is_written_once_behind_its_cause() -> None:
    assert first_step(write("3A01", "0102", "7F 2E 33")) == (
        "Find out why PCU refused the write of 3A01 (33 the module is locked), then write it once and read it after an "
        "ignition cycle."
    )


def test_some_modules_take_a_vin_only_once() -> None:
    step = first_step(write("F190", VIN, "7F 2E 72"))
    assert step.startswith("Find out why PCU refused the write of F190 (72 erasing or writing memory failed)")
    assert step.endswith("some modules take a VIN only once.")
    assert "only once" in report("coach-vin-swapped").to_text().partition("WHAT TO DO NEXT")[0]


def test_a_write_without_an_answer_is_read_before_it_is_written_again() -> None:
    assert first_step(tester("2E 3A01 0102"), gap(7), read("F190", "41")) == (
        "Read 3A01 of PCU after an ignition cycle, and write it again only if it is not what was to be written: the "
        "write was not answered."
    )


def test_a_clear_that_was_refused_is_asked_for_again_behind_its_cause() -> None:
    assert first_step(ask("14 FFFFFF", "7F 14 22")) == (
        "Find out why PCU refused to clear its fault memory (22 a condition for this action is not met), then clear "
        "it, read it and capture that."
    )


def test_a_clear_without_an_answer_is_read_first() -> None:
    assert first_step(tester("14 FFFFFF"), gap(7), read("F190", "41")) == (
        "Read the fault memory of PCU and capture that before it is cleared again: the clear was not answered."
    )


@pytest.mark.parametrize(
    ("answer", "reason"), [("71 01 0270 01", "no pressure"), ("7F 31 22", "refused with 22")], ids=["bad", "refused"]
)
def test_a_routine_that_moves_something_is_not_run_again_blindly(answer: str, reason: str) -> None:
    assert first_step(ask("31 01 0270", answer)) == (
        f"Find out why routine 0270 of PCU failed ({reason}), and run it again only as the service information says: "
        "parts may move."
    )
