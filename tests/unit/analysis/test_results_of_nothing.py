"""Answers of routines that look like a result and are none of what was carried. ISO 14229-1:2020, 14 (M)."""

from __future__ import annotations

import pytest
from talk import (
    ADDRESS,
    CHECK,
    IMAGE,
    NAMES,
    SOFTWARE,
    Talk,
    ask,
    enter,
    heard,
    only,
    programming,
    read,
    reset,
    word_of,
    words,
)

BEFORE: list[Talk] = [read("F188", SOFTWARE), enter()]
AGAIN = ask("10 03", "50 03 0032 01F4")
EXTENDED: list[Talk] = [read("F190", "41"), AGAIN]
LEARN = "31 01 0270"
FIT = "31 01 FF01"


def download(*talk: Talk, names: str = NAMES) -> tuple[str, str]:
    return word_of(heard(BEFORE, programming(), *talk, names=names), "download")


def learn(*talk: Talk) -> list[str]:
    return words(heard(EXTENDED, *talk, names=NAMES), "routine")


def test_a_stop_that_was_accepted_is_no_result() -> None:
    assert download(ask("31 02 0266", "71 02 0266 00"))[0] == "unproven"
    assert learn(ask("31 02 0270", "71 02 0270 00")) != ["confirmed"]


def test_nor_is_the_stop_or_an_older_result_of_the_check_that_the_parts_fit() -> None:
    """Its status 00 is good by custom, without names."""
    running: list[Talk] = [reset(), read("F190", "41")]
    assert download(ask("31 02 FF01", "71 02 FF01 00"), running, names="")[0] == "unproven"
    assert download(ask("31 03 FF01", "71 03 FF01 00"), running, names="")[0] == "unproven"
    assert download(ask(FIT, "71 01 FF01 00"), running, names="") == ("confirmed", "medium")


@pytest.mark.parametrize(
    "between",
    [
        [*reset(), *ask("10 03", "50 03 0032 01F4")],
        [*ask("10 01", "50 01 0032 01F4"), *ask("10 03", "50 03 0032 01F4")],
    ],
    ids=["restart", "default session"],
)
def test_a_run_does_not_outlive_a_restart_or_the_default_session(between: list[Talk]) -> None:
    """Leaving for the default session ends what was started: ISO 14229-1:2020, 10.2 (M)."""
    started = ask(LEARN, "71 01 0270 02")
    assert learn(started, ask("31 03 0270", "71 03 0270 00")) == ["confirmed"]
    assert "confirmed" not in learn(started, between, ask("31 03 0270", "71 03 0270 00"))


@pytest.mark.parametrize(
    "option",
    ["03", f"44 00018000 {len(IMAGE):08X}", f"44 {ADDRESS:08X} 00000010", f"44 {ADDRESS + 16:08X} {len(IMAGE):08X}"],
    ids=["another block", "another range", "a part of it", "not its beginning"],
)
def test_a_good_check_of_another_range_proves_nothing_of_this_part(option: str) -> None:
    report = heard(BEFORE, programming(), ask(f"{CHECK} {option}", "71 01 0266 00"), names=NAMES)
    assert word_of(report, "download")[0] == "unproven"
    assert "not shown to be of this part" in " ".join(only(report, "download").outcome.because)


@pytest.mark.parametrize(
    "option", ["", "01", "01 5A5A", f"44 {ADDRESS:08X} {len(IMAGE):08X}", f"44 {ADDRESS:08X} 00001000"]
)
def test_a_good_check_of_this_part_proves_it(option: str) -> None:
    assert download(ask(f"{CHECK} {option}", "71 01 0266 00")) == ("confirmed", "high")


def test_without_named_blocks_an_option_may_be_anything() -> None:
    names = NAMES.replace('block = "01"', "").replace('block = "02"', "")
    assert download(ask(f"{CHECK} 03", "71 01 0266 00"), names=names) == ("confirmed", "high")


def test_a_bad_check_of_a_block_that_nothing_names_still_says_no() -> None:
    assert download(ask(f"{CHECK} 03", "71 01 0266 01"))[0] == "failed"
