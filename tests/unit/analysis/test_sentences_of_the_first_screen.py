"""Sentences of the first screen that read well, and cautions that belong there."""

from __future__ import annotations

from test_next_steps import report

NO_DRIVE = "Do not drive with software or a calibration that is not meant for the vehicle"


def first_screen(fixture: str) -> str:
    return " ".join(report(fixture).to_text().partition("BE TRUSTED?")[0].split())


def test_a_vin_and_what_is_wrong_with_it_are_one_sentence() -> None:
    said = "DUC: E0KRC7HT5TD004271 differs from E0KRC7HT5TD004217 in places 16 and 17"
    assert said in report("coach-vin-swapped").verdict.headline


def test_a_sign_of_the_boot_loader_stands_in_brackets_behind_what_it_shows() -> None:
    reason = report("uds11-boot-mode-after-reset").verdict.parts["programming"].because[0]
    assert reason.endswith("(is in the programming session without having been asked)")


def test_several_modules_of_which_nothing_is_shown_are_told_in_one_sentence() -> None:
    assert "VGW, BRC: not shown what runs there." in first_screen("coach-reflash")


def test_software_of_another_vehicle_is_no_reason_to_drive() -> None:
    assert NO_DRIVE in first_screen("van-wrong-calibration")
    assert NO_DRIVE not in first_screen("coach-all-good")
