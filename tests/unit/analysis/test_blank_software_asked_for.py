"""Software that a job sheet asks for, where the module reads blank. Common practice, no source."""

from __future__ import annotations

import pytest
from talk import Talk, enter, heard, programming, read, reset

from analysis.report.model import Report

SHEET = """
[[module]]
label = "PCU"
link = "7E0:7E8"
programming = { software = "PCU-SW-1204" }
"""
JOB: list[Talk] = [read("F190", "41"), enter(), programming(), reset()]


def told(software: bytes) -> Report:
    return heard(JOB, read("F188", software), sheet=SHEET)


@pytest.mark.parametrize("blank", [b"\xff" * 11, b"\x00" * 11, b" " * 11])
def test_a_blank_is_said_to_be_one_and_no_file_is_chosen_before_its_cause_is_known(blank: bytes) -> None:
    verdict = told(blank).verdict
    said = "software reads blank, asked for is PCU-SW-1204"
    assert said in verdict.headline
    assert verdict.next_steps[0] == f"Find out why PCU reads blank before it is programmed again: {said}."
    assert not any("Choose the file" in step for step in verdict.next_steps)


def test_another_number_is_the_wrong_file() -> None:
    verdict = told(b"PCU-SW-1203").verdict
    said = "software is PCU-SW-1203, asked for is PCU-SW-1204"
    assert verdict.next_steps[0] == f"Choose the file for PCU by VIN and hardware number, and program it: {said}."
    assert "blank" not in verdict.headline
