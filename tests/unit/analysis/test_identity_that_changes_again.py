"""Readings behind a restart that contradict one another: the last one counts, and none of them proves the act."""

from __future__ import annotations

import pytest
from talk import (
    CHECK,
    NAMES,
    SOFTWARE,
    Talk,
    ask,
    enter,
    gap,
    heard,
    only,
    programming,
    raw,
    read,
    reset,
    word_of,
    words,
)

NEW = b"PCU-SW-1207"
BLANK = b"\xff" * len(NEW)
VIN = b"E0VLK3PS3SM018855"
CALIBRATION = 0x00020000
BEFORE: list[Talk] = [read("F188", SOFTWARE), enter()]
GOOD = ask(CHECK, "71 01 0266 00")


@pytest.mark.parametrize("last", [SOFTWARE, BLANK, b"PCU-SW-1199"])
def test_an_identity_that_changes_again_proves_nothing(last: bytes) -> None:
    report = heard(BEFORE, programming(), reset(), read("F188", NEW), gap(1), reset(), read("F188", last))
    assert word_of(report, "download")[0] == "unproven"
    assert "F188" in " ".join(only(report, "download").outcome.because)


def test_nor_does_a_good_check_beside_it() -> None:
    """A module with two memories may have gone back to the one it had before."""
    report = heard(
        BEFORE, programming(), GOOD, reset(), read("F188", NEW), reset(), read("F188", SOFTWARE), names=NAMES
    )
    assert word_of(report, "download")[0] == "unproven"


def test_one_that_is_refused_since_a_later_restart_proves_nothing() -> None:
    """Another program answers by then, one that has no such identifier."""
    gone = ask("22 F188", "7F 22 31")
    read_once = [BEFORE, programming(), reset(), read("F188", NEW)]
    report = heard(read_once, reset(), gone)
    assert word_of(report, "download")[0] == "unproven"
    assert "is refused (31) since a later restart" in " ".join(only(report, "download").outcome.because)
    assert word_of(heard(read_once, gone), "download")[0] == "confirmed"  # no start lies between
    other_session = [reset(), ask("10 03", "50 03 0032 01F4"), gone]
    assert word_of(heard(read_once, other_session), "download")[0] == "confirmed"


def test_one_that_says_the_same_to_the_end_does() -> None:
    report = heard(BEFORE, programming(), reset(), read("F188", NEW), reset(), read("F188", NEW))
    assert word_of(report, "download") == ("confirmed", "high")


def test_one_that_is_told_only_later_does() -> None:
    """A module works out its verification number after the start, and says nothing until it has."""
    report = heard(
        read("F806", "11223344"), enter(), programming(), reset(), read("F806", "00000000"), gap(5),
        read("F806", "55667788"),
    )  # fmt: skip
    assert word_of(report, "download")[0] == "confirmed"


def test_another_part_in_between_may_change_it() -> None:
    report = heard(
        BEFORE, programming(), GOOD, reset(), read("F188", NEW), enter(), programming(address=CALIBRATION), GOOD,
        reset(), read("F188", b"PCU-SW-1208"), names=NAMES.replace('id = "F188"', 'id = "F1A1"'),
    )  # fmt: skip
    assert words(report, "download") == ["confirmed", "confirmed"]


def test_one_that_went_back_after_both_parts_is_doubt_about_both() -> None:
    report = heard(
        BEFORE, programming(), GOOD, programming(address=CALIBRATION), GOOD, reset(), read("F188", NEW), reset(),
        read("F188", SOFTWARE), names=NAMES.replace('id = "F188"', 'id = "F1A1"'),
    )  # fmt: skip
    assert words(report, "download") == ["unproven", "unproven"]


def test_what_the_boot_loader_says_of_itself_contradicts_nothing() -> None:
    report = heard(
        BEFORE, programming(), reset(), read("F188", NEW), ask("10 02", "50 02 0032 01F4"), read("F188", SOFTWARE)
    )
    assert word_of(report, "download") == ("confirmed", "high")


@pytest.mark.parametrize("last", [b"\xff" * 17, b"E0VLK3PS3SM018856"])
def test_a_vin_of_kwp2000_that_reads_otherwise_at_the_end_failed(last: bytes) -> None:
    report = heard(
        ask("10 85", "50 85"), ask(raw("3B 90") + VIN, "7B 90"), ask("1A 90", raw("5A 90") + VIN), ask("11 01", "51"),
        gap(2), ask("1A 90", raw("5A 90") + last),
    )  # fmt: skip
    assert word_of(report, "write")[0] == "failed"
