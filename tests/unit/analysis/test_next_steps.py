"""What to do next is short, ordered and said once; the headline says what happened."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from talk import (
    CHECK,
    ERASE,
    IMAGE,
    NAMES,
    SOFTWARE,
    Talk,
    ask,
    blocks,
    enter,
    heard,
    judged,
    read,
    request,
    reset,
    write,
)

from analysis import analyse
from analysis.answer.next_steps import _readings_together
from analysis.report.model import Report

FIXTURES = Path(__file__).parents[3] / "fixtures"


@cache
def report(fixture: str, *more: str, sheet: bool = True, names: bool = True) -> Report:
    world = fixture.partition("-")[0]
    paths = [FIXTURES / one / "capture.log" for one in (fixture, *more)]
    return analyse(
        paths,
        FIXTURES / f"{world}.toml" if sheet else None,
        [FIXTURES / f"{world}_names.toml"] if names else [],
    )


@pytest.mark.parametrize(
    ("fixture", "steps"),
    [
        (
            "coach-erase-low-voltage",
            ("Connect a support unit fit for programming (20.9 V", "", "Program DUC again", "Do what"),
        ),
        (
            "coach-next-day",
            ("Connect a support unit", "Look for the recording", "Program DUC once the cause is known", "Do what"),
        ),
        (
            "coach-trims-not-read-back-stored",
            ("Cycle the ignition, then read 4A10-4A16, 4A1F, 4C20 of DUC", "Run the learn routine of DUC again"),
        ),
        ("coach-module-silent", ("Leave DUC powered and listen", "Measure", "Program DUC again once it", "Do what")),
        ("coach-ends-mid-transfer", ("Connect a support unit", "Look for the rest", "Program DUC again", "Do what")),
        ("coach-foreign-keeper", ("Find out which vehicle VBM is from", "Run the learn routine of DUC again")),
        ("coach-vin-swapped", ("Compare the VIN of DUC with the plate",)),
        ("coach-before-removal", ("Write down the values", "Do the job itself on the module that stays")),
        ("uds11-dtc-returns", ("Find the cause of the fault in PCU: P1B23-54",)),
        ("uds11-read-back-same-power-cycle", ("Cycle the ignition, then read 3A01-3A04, F190 of PCU",)),
        ("uds11-clear-not-read", ("Read the fault memory (19 02) of PCU",)),
        ("uds11-wrong-key", ("Wait with the ignition on", "Find out why PCU refused the key", "Do what")),
        ("uds11-no-diagnostics", ("Record again at the diagnostic connector",)),
    ],
)
def test_the_steps_of(fixture: str, steps: tuple[str, ...]) -> None:
    said = report(fixture).verdict.next_steps
    assert len(said) == len(steps), said
    assert all(step.startswith(begin) for step, begin in zip(said, steps, strict=True)), said


def test_a_good_job_has_nothing_to_do_next() -> None:
    assert report("coach-all-good").verdict.next_steps == ()
    assert report("coach-all-good").verdict.headline.startswith("All confirmed at DUC: programming, ")


def test_what_another_capture_of_the_job_holds_is_not_asked_for() -> None:
    both = report("coach-ends-mid-transfer", "coach-next-day").verdict.next_steps
    assert not any("rest of the recording" in step for step in both)
    assert any(step.startswith("Program DUC again") for step in both)


def test_requests_without_answers_lead_to_a_new_recording_and_nothing_else(tmp_path: Path) -> None:
    lines = (FIXTURES / "coach-all-good" / "capture.log").read_text().splitlines(keepends=True)
    half = tmp_path / "half.log"
    half.write_text("".join(line for line in lines if "18DAF1" not in line))
    verdict = analyse(half, FIXTURES / "coach.toml", [FIXTURES / "coach_names.toml"]).verdict
    (step,) = verdict.next_steps
    assert step.startswith("Read identification, trims and fault memory now")
    assert "do not repeat the job" in step
    assert verdict.headline.startswith("Only one direction was recorded")


@pytest.mark.parametrize(
    ("fixture", "begin"),
    [
        ("coach-erase-low-voltage", "DUC: programming failed: the erase broke off; the application does not run"),
        ("coach-module-silent", "DUC: programming interrupted: the transfer reached 10 blocks"),
        ("coach-next-day", "DUC: only its boot loader answers"),
        ("coach-foreign-keeper", "A module holds the VIN of another vehicle: VBM says"),
        ("coach-quiet-not-restored", "All confirmed, but modules are still told to keep quiet"),
        ("uds11-dtc-returns", "All confirmed, but a fault comes back after clearing: PCU: P1B23-54"),
        ("uds11-wrong-key", "PCU: the key (27 12) was refused with 36 and access is locked for a time; nothing was"),
        ("uds11-only-reads", "Only read"),
        ("uds11-no-diagnostics", "No diagnostic talk"),
        ("uds11-trims-not-read-back", "PCU: programming, VIN and fault memory confirmed; trims and configuration done"),
    ],
)
def test_the_headline_of(fixture: str, begin: str) -> None:
    assert report(fixture).verdict.headline.startswith(begin)


def test_exchanged_trims_stand_in_the_headline_and_the_steps_without_a_sheet() -> None:
    verdict = report("coach-trims-exchanged", sheet=False).verdict
    assert verdict.headline.startswith("All confirmed, but ")
    assert "4A12" in verdict.headline and "4A13" in verdict.headline
    assert [step for step in verdict.next_steps if "DUC" in step and "4A12" in step]
    assert len(verdict.next_steps) == 2 and verdict.next_steps[1].startswith("Run the learn routine")


@pytest.mark.parametrize(
    ("fixture", "protocol"), [("bus-j1939", "J1939"), ("bus-canopen", "CANopen"), ("bus-xcp", "XCP")]
)
def test_a_bus_without_diagnostics_is_named_in_the_headline(fixture: str, protocol: str) -> None:
    found = report(fixture, sheet=False, names=False).verdict.headline
    assert found == f"No diagnostic talk is in this recording. It holds {protocol}."


def test_readings_of_one_module_after_an_ignition_cycle_are_one_step() -> None:
    ending = "after an ignition cycle and capture it."
    texts = [
        f"Read the software of DUC {ending}",
        "Wait.",
        f"Read the CVN of DUC {ending}",
        f"Read the CVN of GEC {ending}",
    ]
    assert _readings_together(texts) == [
        f"Read the software, CVN of DUC {ending}",
        "Wait.",
        f"Read the CVN of GEC {ending}",
    ]


def test_a_value_that_reads_as_written_asks_for_no_new_learning() -> None:
    lines = (FIXTURES / "coach-all-good" / "capture.log").read_text().splitlines(keepends=True)
    answer = next(at for at, line in enumerate(lines) if "#036E4A11" in line)
    steps = judged("".join(lines[:answer] + lines[answer + 1 :]), names=(FIXTURES / "coach_names.toml").read_text())
    assert not any("learn routine" in step for step in steps.verdict.next_steps)


PRIME = "31 01 0270"


@pytest.mark.parametrize(
    "talk",
    [
        ask(PRIME, "71 01 0270"),
        ask(PRIME, "71 01 0270 02"),
        (*ask(PRIME, "71 01 0270 02"), *ask("31 03 0270", "71 03 0270 02")),
    ],
    ids=["never asked", "running", "still running"],
)
def test_a_routine_that_may_still_run_is_asked_before_the_ignition_is_cycled(talk: Talk) -> None:
    report = heard(read("F190", "41"), write("3A01", b"\1\2"), talk, names=NAMES)
    first, second = report.verdict.next_steps
    assert first.startswith("Ask PCU for the result of routine 0270 (31 03)")
    assert second.startswith("Cycle the ignition")


def test_half_of_the_announced_bytes_stand_in_the_first_sentence_and_the_first_step() -> None:
    half = [read("F188", SOFTWARE), enter(), ask(*ERASE), request(2 * len(IMAGE)), *blocks(), ask("37", "77")]
    for names in (NAMES, ""):
        verdict = heard(half, ask(CHECK, "71 01 0266 00"), reset(), names=names).verdict
        assert "96 bytes carried, 192 asked for" in verdict.headline
        assert verdict.next_steps[0].startswith("Compare the bytes sent to")


def test_a_value_that_stood_there_before_needs_nothing_and_that_is_said() -> None:
    value = read("3A01", b"\1\2")
    report = heard(value, write("3A01", b"\1\2"), reset(), value)
    assert report.verdict.overall == "unproven"
    assert report.verdict.next_steps == ("Nothing needed: the value is right already.",)


def test_a_list_of_confirmed_codes_alone_asks_for_the_whole_list() -> None:
    report = heard(ask("19 02 08", "59 02 FF 123456 28"), ask("14 FFFFFF", "54"), ask("19 02 08", "59 02 FF"))
    assert report.verdict.next_steps == ("Read the fault memory (19 02 FF) of 7E0>7E8 and capture that.",)


def test_a_transfer_given_up_by_a_kwp2000_module_asks_why_before_it_is_tried_again() -> None:
    verdict = report("kwp-transfer-refused", sheet=False).verdict
    assert "(M)" not in verdict.headline
    steps = [step.partition(" SHU")[0] for step in verdict.next_steps]
    assert steps == [
        "Connect a support unit fit for programming, and leave it on to the end.",
        "Find out why",
        "Program",
    ]
