"""Where a break is said to be, opened line by line: the quoted lines hold the refusal, the last answer, the silence.

Of every shipped capture that ends failed, interrupted or with a module lost. The lines are read by a few functions
of their own here, which know candump's log form and the first bytes of ISO 15765-2 and ISO 14229-1 messages only.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from analysis import analyse

FIXTURES = Path(__file__).parents[2] / "fixtures"
LINE = re.compile(r"\(\d+\.\d+\) (\S+) ([0-9A-F]+)#([0-9A-F]*)")
NEGATIVE, WAIT = 0x7F, 0x78
TO_ALL = "101"  # GMW3110: with the address byte FE in front


class Begin(NamedTuple):
    """A single or first frame: its line, its id, the first bytes of its message."""

    line: int
    can_id: str
    said: bytes

    @property
    def is_wait(self) -> bool:
        return self.said[:1] == bytes([NEGATIVE]) and self.said[2:3] == bytes([WAIT])


def begins(lines: list[str]) -> Iterator[Begin]:
    for number, line in enumerate(lines, start=1):
        found = LINE.fullmatch(line)
        data = bytes.fromhex(found[3]) if found else b""
        if found and found[2] == TO_ALL and data[:1] == b"\xfe":
            data = data[1:]
        if found and data and data[0] >> 4 == 0:
            yield Begin(number, found[2], data[1 : 1 + (data[0] & 0x0F)])
        elif found and len(data) > 1 and data[0] >> 4 == 1:
            yield Begin(number, found[2], data[2:])


class Broken(NamedTuple):
    """A report of a break with the lines it speaks of, and the link of the module that broke."""

    post_mortem: dict
    begins: list[Begin]
    request: str
    response: str

    def answers(self, first: int, last: int) -> list[Begin]:
        """Final answers of the module that begin within these lines."""
        return [
            one for one in self.begins
            if first <= one.line <= last and one.can_id == self.response and not one.is_wait
        ]  # fmt: skip

    def asked(self, line: int) -> Begin:
        """The request that begins in a line."""
        return next(one for one in self.begins if one.line == line and one.can_id in (self.request, TO_ALL))


def broken(name: str, *, names: bool, sheet: bool) -> Broken | None:
    world = name.split("-")[0]
    report = analyse(
        FIXTURES / name / "capture.log",
        FIXTURES / f"{world}.toml" if sheet else None,
        [FIXTURES / f"{world}_names.toml"] if names else [],
    ).to_dict()
    if report["post_mortem"] is None:
        return None
    lines = (FIXTURES / name / "capture.log").read_text().splitlines()
    bad = report["post_mortem"]["first_bad"]
    found = list(begins(lines))
    asked = next(one for one in found if one.line == bad["lines"][0])
    link = next(one["link"] for one in report["links"] if f":{asked.can_id}>" in one["link"] and not one["functional"])
    request, response = link.partition(":")[2].split(">")
    return Broken(report["post_mortem"], found, request, response)


#: Shipped captures with a break: the first bad thing as its bytes say it, and where. Worked out by hand.
BREAKS = {
    "coach-before-removal-dead": ("3E00", None),
    "coach-ends-mid-transfer": ("360B", None),
    "coach-erase-low-voltage": ("3101FF00", "7F3172"),
    "coach-module-silent": ("360B", None),
    "coach-next-day": ("22F190", "7F2231"),
    "coach-tester-silent": ("360B", None),
    "gmw-module-silent": ("3600000100B0", None),
    "gmw-state-bad": ("A2", "E203"),
    "gmw-tester-silent": ("3600000100B0", None),
    "gmw-transfer-refused": ("3600000100B0", "7F3683"),
    "kwp-exit-refused": ("37", "7F3777"),
    "kwp-module-silent": ("3603", None),
    "kwp-tester-silent": ("3603", None),
    "kwp-transfer-refused": ("3603", "7F3672"),
    "uds11-boot-mode-after-reset": ("22F188", "7F2231"),
    "uds11-check-bad": ("31010266", "7101026605"),
    "uds11-ends-mid-transfer": ("3603", None),
    "uds11-erase-refused": ("3101FF00", "7F3172"),
    "uds11-exit-refused": ("37", "7F3772"),
    "uds11-module-silent": ("3603", None),
    "uds11-reset-no-return": ("3E00", None),
    "uds11-tester-silent": ("3603", None),
    "uds11-transfer-refused": ("3603", "7F3672"),
}
WITHOUT = sorted(path.parent.name for path in FIXTURES.glob("*/capture.log") if path.parent.name not in BREAKS)


@pytest.mark.parametrize("sheet", [False, True], ids=["no sheet", "sheet"])
@pytest.mark.parametrize("name", BREAKS)
def test_the_first_bad_thing_is_the_refusal_or_the_request_left_open(name: str, sheet: bool) -> None:
    found = broken(name, names=True, sheet=sheet)
    assert found is not None
    first, last = found.post_mortem["first_bad"]["lines"][0], found.post_mortem["first_bad"]["lines"][-1]
    request, answer = BREAKS[name]
    assert found.asked(first).said.startswith(bytes.fromhex(request))
    said = [one.said for one in found.answers(first, last)]
    if answer is None:
        assert not said
        again = [one.line for one in found.begins if one.line > last and one.can_id == found.request]
        behind = found.answers(first, again[0] if again else found.begins[-1].line)
        assert not behind, "it was answered after all"
    else:
        assert [one[: len(answer) // 2] for one in said] == [bytes.fromhex(answer)]


def sys_end(found: Broken) -> int:
    return found.begins[-1].line


@pytest.mark.parametrize("name", BREAKS)
def test_the_last_good_step_is_the_last_positive_answer_in_front_of_it(name: str) -> None:
    found = broken(name, names=True, sheet=False)
    assert found is not None
    bad, good = found.post_mortem["first_bad"]["lines"][0], found.post_mortem["last_good"]
    if good is None:
        assert not [one for one in found.answers(1, bad - 1) if one.said[0] != NEGATIVE]
        return
    first, last = good["lines"][0], good["lines"][-1]
    answer = found.answers(first, last)[-1]
    assert answer.said[0] == found.asked(first).said[0] + 0x40
    assert not [one for one in found.answers(last + 1, bad - 1) if one.said[0] != NEGATIVE]


@pytest.mark.parametrize("name", BREAKS)
def test_what_a_report_quotes_as_refused_is_refused_with_that_code_in_its_last_line(name: str) -> None:
    """Whoever quotes it, with names and without: an operation's proof, a finding, the state of a module."""
    lines = (FIXTURES / name / "capture.log").read_text().splitlines()
    world = name.split("-")[0]
    for names in ([], [FIXTURES / f"{world}_names.toml"]):
        report = analyse(FIXTURES / name / "capture.log", None, names).to_dict()
        proofs = [(one["what"], one["lines"]) for item in report["operations"] for one in item["proof"]]
        shown = [one for item in (*report["findings"], *report["modules"]) for one in item["evidence"]]
        refused = 0
        for text, where in [*proofs, *((one["text"], one["lines"]) for one in shown)]:
            if code := re.search(r"(?:refused(?: with)?:?|ended with) ([0-9A-F]{2})\b", text):
                data = LINE.fullmatch(lines[where[-1] - 1])[3]  # type: ignore[index]
                assert data[2:4] == "7F" and data[6:8] == code[1], (text, where)
                refused += 1
        assert refused or not any("refused" in text for text, _ in proofs)


def test_a_module_that_boots_only_is_shown_by_what_it_said_behind_the_erase() -> None:
    found = analyse(FIXTURES / "coach-erase-low-voltage" / "capture.log", None, [FIXTURES / "coach_names.toml"])
    shown = next(item for item in found.modules if item.story.label == "DUC").evidence
    lines = (FIXTURES / "coach-erase-low-voltage" / "capture.log").read_text().splitlines()
    assert ["".join(lines[number - 1].split("#")[1][2:8] for number in one.lines[-1:]) for one in shown][:1] == [
        "7F2231"
    ]
    assert all(one.lines[0] > 2797 for one in shown)


@pytest.mark.parametrize("name", WITHOUT)
def test_where_nothing_broke_no_break_is_told(name: str) -> None:
    assert broken(name, names=True, sheet=False) is None
