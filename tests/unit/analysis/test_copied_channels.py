"""A second channel that only carries the requests once more is a copy; everything like it stays half a recording.

Common practice, no source: a gateway passes requests on, or a logger hears one bus at two places. The look-alikes
are what could make a *confirmed* wrong: a second module of the same ids that is dead, refused, or asked for more.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from talk import Side, Talk, ask, download, enter, everybody, gap, heard, programming, read, reset, tester, write

from analysis.report.model import Report

NEW = "01264031"
SECOND = Side(0x7E0, 0x7E8, "can1")
JOB: list[Talk] = [read("3A01", "FFFFFFFF"), enter(), write("3A01", NEW + "0102030405060708"), reset()]
PROOF = read("3A01", NEW + "0102030405060708")
REQUEST, ANSWER = "7E0", "7E8"
Edit = Callable[[list[str]], list[str]]


def is_flow_control(line: str) -> bool:
    return "#30" in line


def copied(lines: list[str], *, ids: str = f"{REQUEST}|7DF", channel: str = "can1", later_ms: int = 0) -> list[str]:
    """Every request once more on another channel, some time behind the first."""
    found: list[tuple[float, str]] = [(float(line[1:18]), line) for line in lines]
    for at, line in list(found):
        if re.search(rf"can0 ({ids})#", line) and not is_flow_control(line):
            stamp = at + 0.0002 + later_ms / 1000
            found.append((stamp, f"({stamp:017.6f}) {channel} {line.split()[2]}"))
    return [line for _, line in sorted(found)]


def told(edit: Edit) -> Report:
    return heard(JOB, PROOF, edit=edit)


def test_a_copy_of_the_requests_does_not_take_the_job_away() -> None:
    alone, both = heard(JOB, PROOF), told(copied)
    assert both.verdict.overall == alone.verdict.overall == "confirmed"
    assert {item.link.channel for item in both.operations} == {"can0"}
    assert [item.story.link.key for item in both.modules] == ["can0:7E0>7E8"]
    assert both.record.captures[0].copied == {"can1": "can0"}
    assert any("can1 only repeats" in reason for reason in both.record.captures[0].trust.reasons)


def test_the_words_are_those_of_the_channel_with_both_sides() -> None:
    talks: tuple[list[Talk], ...] = (
        [JOB],
        [JOB, read("3A01", "00")],
        [enter(), programming()],
        [enter(), download()[0]],
    )
    for talk in talks:
        alone, both = heard(talk), heard(talk, edit=copied)
        assert [(item.kind, item.outcome.word) for item in both.operations if item.link.channel == "can0"] == [
            (item.kind, item.outcome.word) for item in alone.operations
        ]


def dropped(pattern: str) -> Edit:
    """The copy without its last line of this pattern."""

    def edit(lines: list[str]) -> list[str]:
        both = copied(lines)
        at = max(at for at, line in enumerate(both) if re.search(rf"can1 7E0#{pattern}", line))
        return both[:at] + both[at + 1 :]

    return edit


def changed(old: str, new: str) -> Edit:
    """The copy with other bytes."""
    return lambda lines: [line.replace(old, new) if "can1" in line else line for line in copied(lines)]


def with_line(text: str) -> Edit:
    """A line of can1 more, in the middle."""

    def edit(lines: list[str]) -> list[str]:
        both = copied(lines)
        at = next(at for at, line in enumerate(both) if "can1" in line and "#10" in line)
        return [*both[: at + 1], f"{both[at].split()[0]} can1 {text}", *both[at + 1 :]]

    return edit


@pytest.mark.parametrize(
    "edit",
    [
        changed("0102", "0103"),  # another value is written there
        changed("ABCD", "ABCE"),  # another key: another module's seed
        with_line("7E8#300000CCCCCCCCCC"),  # a module took the long request there
        with_line("7E8#037F2E22CCCCCCCC"),  # and refused it
        with_line("7E0#021101CCCCCCCCCC"),  # something was asked there alone
        with_line("7E1#0322F190CCCCCCCC"),  # and of a module that is not on the other channel
        dropped("21"),  # the copy itself has a hole
        lambda lines: copied(lines, later_ms=500),  # half a second later it is another conversation
        lambda lines: [re.sub(r"^\(\S+\) ", "", line) for line in copied(lines)],  # no clock to tell by
    ],
    ids=["value", "key", "flow-control", "refusal", "more", "other-module", "hole", "late", "no-clock"],
)
def test_what_only_looks_like_a_copy_is_never_confirmed(edit: Edit) -> None:
    report = told(edit)
    assert report.record.captures[0].copied == {}
    assert report.verdict.overall != "confirmed"


def test_two_modules_of_which_one_is_dead_are_no_copy() -> None:
    """Single frames alone: the tester may well ask two buses for the same, and one of them gives no answer."""
    talk: list[Talk] = [
        [ask(asked, answer), tester(asked, SECOND)]
        for asked, answer in (("22 3A01", "62 3A01 FF"), ("2E 3A01 01", "6E 3A01"), ("22 3A01", "62 3A01 01"))
    ]
    report = heard(talk, gap(6))
    assert report.record.captures[0].copied == {}
    assert report.verdict.overall != "confirmed"


def test_a_dead_channel_is_no_copy_of_a_dead_channel() -> None:
    report = heard(tester("2E 3A01 0102030405060708"), gap(6), edit=copied)
    assert report.record.captures[0].copied == {}


def test_a_functional_order_on_the_copy_leaves_no_order_on() -> None:
    talk: list[Talk] = [JOB, everybody("28 83 01"), everybody("85 82"), ask("10 01", "50 01 0032 01F4"), PROOF]
    assert {item.id for item in heard(talk, edit=copied).findings} == {item.id for item in heard(talk).findings}


def test_the_copy_may_come_first_in_the_log() -> None:
    def edit(lines: list[str]) -> list[str]:
        renamed = [line.replace("can0", "can9") for line in copied(lines, channel="canX")]
        return [line.replace("canX", "can0").replace("can9", "can1") for line in renamed]

    report = told(edit)
    assert report.verdict.overall == "confirmed"
    assert {item.link.channel for item in report.operations} == {"can1"}


def test_the_whole_record_is_still_listed() -> None:
    report = told(copied)
    links = {link["link"]: link["requests"] for link in report.to_dict()["links"]}
    assert links["can1:7E0>7E8"] == links["can0:7E0>7E8"]
