"""What is said of a value that was read as written and reads otherwise since. Common practice, no source."""

from __future__ import annotations

import pytest
from talk import Talk, ask, heard, read, reset, write

from analysis.report.model import Report

OLD, NEW = read("4A10", "00000000"), read("4A10", "01020304")
WRITE = write("4A10", "01020304")
FATES = {"write-not-taken", "trims-lost-after-reset", "trims-read-back-differs"}


def told(*talk: Talk) -> Report:
    return heard(read("F190", "41"), OLD, WRITE, *talk)


def fates(report: Report) -> set[str]:
    return {item.id for item in report.findings} & FATES


@pytest.mark.parametrize(
    ("talk", "fate"),
    [
        (OLD, "write-not-taken"),
        ([OLD, reset(), OLD], "write-not-taken"),
        ([NEW, OLD], "trims-read-back-differs"),
        ([reset(), NEW, OLD], "trims-read-back-differs"),
        ([NEW, OLD, reset(), OLD], "trims-read-back-differs"),
        ([NEW, reset(), OLD], "trims-lost-after-reset"),
        ([NEW, reset(), NEW, reset(), OLD], "trims-lost-after-reset"),
    ],
    ids=["never new", "never new, restarted", "new, then old", "restarted, new, old", "old before the restart",
         "new, restarted, old", "old behind the second restart"],
)  # fmt: skip
def test_the_last_reading_and_those_before_it_decide_what_became_of_a_write(talk: Talk, fate: str) -> None:
    report = told(talk)
    assert fates(report) == {fate}
    shown = next(item for item in report.findings if item.id == fate)
    was_right = any(one.text == "reads as written" for one in shown.evidence)
    assert was_right is (fate != "write-not-taken")


def test_a_value_that_changed_back_without_a_restart_is_told_so() -> None:
    report = told(NEW, OLD)
    case = next(item.case for item in report.findings if item.id == "trims-read-back-differs")
    assert case.endswith("written 01020304, reads 00000000. It was read as written before.")


def test_a_value_that_reads_as_written_at_last_has_no_such_finding() -> None:
    assert fates(told(OLD, NEW)) == set()
    assert fates(told(OLD, ask("2E 4A10 01020304", "6E 4A10"), NEW)) == set()
