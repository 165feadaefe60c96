"""A transfer that a recorder cut into two files, or that went on where something seemed to have ended it."""

from __future__ import annotations

from collections.abc import Callable

from talk import (
    CHECK,
    ERASE,
    IMAGE,
    NAMES,
    SOFTWARE,
    Talk,
    ask,
    block,
    enter,
    gap,
    heard,
    judged,
    log_of,
    of_kind,
    only,
    request,
    reset,
    word_of,
    words,
)  # fmt: skip
from talk import read as reading

from analysis.report.model import Report

NEW = b"PCU-SW-1207"
FIRST: list[Talk] = [reading("F188", SOFTWARE), enter(), ask(*ERASE), request(), block(1, IMAGE[:32])]
REST: list[Talk] = [block(2, IMAGE[32:64]), block(3, IMAGE[64:]), ask("37", "77")]
GOOD = ask(CHECK, "71 01 0266 00")
CHANGED: list[Talk] = [reset(), reading("F188", NEW)]


def cut(*talk: Talk, behind: Callable[[str], bool], later_s: float = 0) -> tuple[str, str]:
    """One log as two files, cut behind the last line that fits; the second one so much later."""
    lines = log_of(*talk).splitlines(keepends=True)
    at = max(number for number, line in enumerate(lines, 1) if behind(line))
    return "".join(lines[:at]), "".join(_later(line, later_s) for line in lines[at:])


def _later(line: str, seconds: float) -> str:
    time, rest = line[1:].split(")", 1)
    return f"({float(time) + seconds:.6f}){rest}"


def first_answer(line: str) -> bool:
    return "7E8#027601" in line


def block_2_asked(line: str) -> bool:
    """The last frame of block 02: 34 bytes are a first frame of 6 and four of 7."""
    return "7E0#24" in line


def test_one_that_goes_on_at_once_in_the_next_capture_is_one_transfer() -> None:
    report = judged(*cut(FIRST, REST, CHANGED, behind=first_answer))
    assert word_of(report, "download") == ("confirmed", "medium")
    assert only(report, "download").details["size_carried"] == len(IMAGE)
    assert any(text.startswith("it goes on in capture 2 (line 1), 0.00") for text in because(report))
    assert "capture-starts-inside" not in {item.id for item in report.findings}


def because(report: Report) -> tuple[str, ...]:
    return only(report, "download").outcome.because


def test_a_block_cut_from_its_answer_is_whole() -> None:
    """The first file ends with the last frame of a block, the second begins with its answer."""
    logs = cut(FIRST, block(2, IMAGE[32:64]), behind=block_2_asked)
    whole = log_of(FIRST, REST, GOOD, CHANGED).splitlines(keepends=True)
    front = len(logs[0].splitlines())
    report = judged("".join(whole[:front]), "".join(whole[front:]), names=NAMES)
    assert word_of(report, "download") == ("confirmed", "medium")
    assert only(report, "download").details["size_carried"] == len(IMAGE)


def test_one_that_goes_on_much_later_needs_the_modules_own_check() -> None:
    """What lies between was recorded by nobody."""
    late = judged(*cut(FIRST, REST, CHANGED, behind=first_answer, later_s=60))
    assert word_of(late, "download")[0] == "unproven"
    checked = judged(*cut(FIRST, REST, GOOD, CHANGED, behind=first_answer, later_s=60), names=NAMES)
    assert word_of(checked, "download") == ("confirmed", "medium")


def test_blocks_that_are_not_those_due_are_another_transfer() -> None:
    report = judged(*cut(FIRST, REST[1:], GOOD, CHANGED, behind=first_answer), names=NAMES)
    assert words(report, "download")[:1] == ["interrupted"]
    assert "confirmed" not in words(report, "download")


def test_an_exit_before_all_is_carried_does_not_go_on() -> None:
    report = judged(*cut(FIRST, REST[2:], CHANGED, behind=first_answer))
    assert "confirmed" not in words(report, "download")


def test_a_transfer_that_goes_on_behind_a_change_of_session_was_not_ended_by_it() -> None:
    """Frames out of place, or a module that keeps its transfer: only the module's own check speaks for the whole."""
    other = ask("10 03", "50 03 0032 01F4")
    report = heard(FIRST, other, REST, CHANGED)
    assert word_of(report, "download")[0] == "unproven"
    assert "the session was changed, and the transfer went on all the same" in " ".join(because(report))
    assert word_of(heard(FIRST, other, REST, GOOD, CHANGED, names=NAMES), "download") == ("confirmed", "medium")


def test_files_joined_the_wrong_way_round_fail_nothing() -> None:
    """By line the transfer broke off at the end; by the clock it went on before that."""
    first, second = cut(FIRST, REST, GOOD, CHANGED, gap(1), behind=first_answer)
    report = judged(second + first, names=NAMES)
    assert set(words(report, "download")) == {"unproven"}
    assert report.verdict.overall == "unproven"
    assert not any("again" in step for step in report.verdict.next_steps)
    assert any(step.startswith("Read the identification of PCU now") for step in report.verdict.next_steps)
    assert len(of_kind(report, "download")) == 2
