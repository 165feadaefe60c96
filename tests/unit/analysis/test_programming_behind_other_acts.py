"""What was written, read or learned in front of a download is no longer known behind it, whatever erased the memory.

Many makers erase with a routine of their own instead of FF00, or in the download itself (common practice, no source).
"""

from __future__ import annotations

import pytest
from talk import (
    CHECK,
    ERASE,
    IMAGE,
    NAMES,
    SOFTWARE,
    Talk,
    ask,
    block,
    cyclic,
    download,
    enter,
    gap,
    heard,
    item,
    only,
    read,
    request,
    reset,
    state,
    tester,
    word_of,
    write,
)

OWN_ERASE = ask("31 01 0203", "71 01 0203")
ERASES = {"of the standard": ask(*ERASE), "of the maker": OWN_ERASE, "none": ()}
GOOD = ask(CHECK, "71 01 0266 00")
VALUE = "11223344"
WRITTEN: list[Talk] = [write("4A10", VALUE), reset(), read("4A10", VALUE)]
ASKED = '[[module]]\nlabel = "PCU"\nlink = "7E0:7E8"\nconfiguration = [ { identifier = "4A10", value = "11223344" } ]\n'


def programmed(erase: Talk) -> list[Talk]:
    return [enter(), erase, *download(), GOOD, reset(), read("F188", SOFTWARE)]


@pytest.mark.parametrize("erase", ERASES.values(), ids=ERASES)
def test_a_trim_that_was_read_only_before_programming_is_not_proven(erase: Talk) -> None:
    report = heard(WRITTEN, programmed(erase), names=NAMES)
    assert word_of(report, "download")[0] == "confirmed"
    assert word_of(report, "write")[0] == "unproven"
    assert word_of(heard(WRITTEN, programmed(erase), read("4A10", VALUE), names=NAMES), "write") == (
        "confirmed",
        "high",
    )


@pytest.mark.parametrize("erase", ERASES.values(), ids=ERASES)
def test_a_value_of_the_sheet_that_was_read_only_before_programming_is_not_known(erase: Talk) -> None:
    asked = item(heard(read("4A10", VALUE), programmed(erase), names=NAMES, sheet=ASKED), "4A10")
    assert asked.word == "unproven"
    assert asked.note.startswith("read only before ")


@pytest.mark.parametrize("erase", ERASES.values(), ids=ERASES)
def test_trims_written_before_programming_and_not_read_since_are_told_so(erase: Talk) -> None:
    report = heard(read("4A10", "00000000"), write("4A10", VALUE), programmed(erase), names=NAMES)
    assert "trims-written-before-flash" in {one.id for one in report.findings}


@pytest.mark.parametrize("answer", ["7F 34 33", "7F 34 70"])
def test_a_download_that_was_refused_takes_nothing_away(answer: str) -> None:
    assert word_of(heard(WRITTEN, enter(), request(answer=answer)), "write") == ("confirmed", "high")


def test_a_download_without_an_answer_takes_nothing_away() -> None:
    assert word_of(heard(WRITTEN, enter(), request(answer=""), gap(6)), "write") == ("confirmed", "high")


@pytest.mark.parametrize("erase", ERASES.values(), ids=ERASES)
def test_the_application_of_before_is_not_said_to_run_behind_a_part_of_a_download(erase: Talk) -> None:
    part = [enter(), erase, request(), block(1, IMAGE[:32]), gap(0.5)]
    report = heard(read("F188", SOFTWARE), part, ask("10 01", "50 01 0032 01F4"), cyclic(0x120, 20), names=NAMES)
    assert word_of(report, "download")[0] == "interrupted"
    assert state(report).now != "application"
    answering = [tester("11 01"), gap(2), read("F188", SOFTWARE)]
    assert state(heard(read("F188", SOFTWARE), enter(), reset(), answering, names=NAMES)).now == "application"


# -- learn routines -----------------------------------------------------------------------------------

LEARNED: list[Talk] = [
    read("F190", "41"), ask("10 03", "50 03 0032 01F4"), ask("31 01 0270", "71 01 0270 02"),
    ask("31 03 0270", "71 03 0270 00"), reset(),
]  # fmt: skip
VOLUMES = '[[identifier]]\nid = "3B10"\nname = "fill volumes"\nmodules = ["PCU"]\nkind = "learned"\n'


def learned(*talk: Talk) -> str:
    report = heard(*talk, names=NAMES + VOLUMES)
    (word,) = [str(one.outcome.word) for one in report.operations if one.part == "learn"]
    return word


@pytest.mark.parametrize("erase", ERASES.values(), ids=ERASES)
def test_what_was_learned_before_programming_is_not_proven_behind_it(erase: Talk) -> None:
    assert learned(LEARNED) == "confirmed"
    assert learned(LEARNED, programmed(erase)) == "unproven"
    assert learned(programmed(erase), LEARNED) == "confirmed"


def test_what_was_learned_is_there_when_its_value_is_read_behind_programming() -> None:
    assert learned(LEARNED, programmed(OWN_ERASE), read("3B10", "0123 0124")) == "confirmed"
    assert learned(LEARNED, read("3B10", "0123 0124"), programmed(OWN_ERASE)) == "unproven"
    assert learned(LEARNED, programmed(OWN_ERASE), read("3B10", "FFFF FFFF")) == "unproven"


def test_the_learn_part_says_what_to_look_up() -> None:
    report = heard(LEARNED, programmed(OWN_ERASE), names=NAMES)
    assert report.verdict.parts["learn"].word == "unproven"
    steps = " ".join(map(str, report.verdict.next_steps))
    assert "0270" in steps
    assert only(report, "download").outcome.word == "confirmed"
