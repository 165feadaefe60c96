"""Causes of a break: each named where more than a weak sign speaks for it, and not where it only looks like it."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import NamedTuple

import edited_sessions as edit
import pytest
from edited_sessions import FIXTURES, Lines, fixture, plan

from analysis import analyse
from analysis.breaks.explanations import CAUSES, MOST, explain
from analysis.checks.finding import Finding
from analysis.report.text import render_text
from analysis.words import Confidence, Evidence, Severity

ERRORS = tuple(["({t}) can0 20000004#0000000000000000"] * 20)
LOADER = ("look", "enter-loader", "calibration")


class Session(NamedTuple):
    """Lines of a recording of a world, analysed with its names."""

    world: str
    lines: Callable[[], Lines]


def shipped(name: str) -> Session:
    return Session(name.split("-")[0], partial(fixture, name))


def bench(*faults: str) -> Session:
    return Session("uds11", partial(plan, *LOADER, faults=faults))


def cut_in_transfer(name: str) -> Lines:
    """A recording that ends in front of the second block of its last transfer."""
    lines = fixture(name)
    return lines[: max(at for at, line in enumerate(lines) if re.search("18DA2AF1#1...3602", line))]


def with_supply(lines: Lines, before: str, *volts: str) -> Lines:
    """The module is asked for its supply (F442) in front of the line that begins its first message like this."""
    at = next(at for at, line in enumerate(lines) if before in line)
    asked = [
        text for value in volts for text in ("({t}) can0 7E0#0322F442CCCCCCCC", f"({{t}}) can0 7E8#0562F442{value}CCCC")
    ]
    return edit.with_lines(lines, at, *asked)


THIRD_BLOCK = "7E0#108236033A"
STEADY, SUNK = ("6540", "6590"), ("6540", "4A00")  # 25.9 V and 26.0 V; 25.9 V and 18.9 V


def refused_block(*volts: str) -> Session:
    return Session("uds11", lambda: with_supply(fixture("uds11-transfer-refused"), THIRD_BLOCK, *volts))


def error_frames() -> Lines:
    lines = fixture("coach-module-silent")
    return edit.with_lines(lines, 4400, *ERRORS)


#: By cause: where it is named first, and where it must not be named at all.
CASES: dict[str, tuple[Session, Session]] = {
    "the supply was too weak": (shipped("coach-erase-low-voltage"), bench("erase-conditions")),
    "the module alone lost its supply, hung or restarted by itself": (
        shipped("coach-module-silent"),
        shipped("coach-tester-silent"),
    ),
    "what several modules share: gateway, fuse or wiring of a branch": (
        bench("branch-silent"),
        bench("module-silent"),
    ),
    "the line or a connector": (Session("coach", error_frames), shipped("coach-module-silent")),
    "the tester, its computer or its adapter": (shipped("coach-tester-silent"), shipped("coach-ends-mid-transfer")),
    "a wrong or damaged file": (shipped("uds11-check-bad"), bench("check-refused")),
    "the module's memory": (refused_block(*STEADY), refused_block(*SUNK)),
    "a condition that was not met": (bench("erase-conditions"), bench("erase-refused")),
    "a second tester on the bus": (
        Session("coach", partial(cut_in_transfer, "coach-two-testers")),
        Session("coach", partial(cut_in_transfer, "coach-all-good")),
    ),
    "only the recording ended or has holes": (shipped("uds11-ends-mid-transfer"), shipped("uds11-tester-silent")),
}


def report_of(session: Session, folder: Path) -> dict:
    path = folder / "capture.log"
    path.write_text("\n".join(session.lines()) + "\n")
    return analyse(path, None, [FIXTURES / f"{session.world}_names.toml"]).to_dict()


def explained(session: Session, folder: Path) -> list[dict]:
    report = report_of(session, folder)
    assert report["post_mortem"] is not None
    return report["post_mortem"]["explanations"]


def test_every_cause_has_a_case() -> None:
    assert set(CASES) == {cause.text for cause in CAUSES}


@pytest.mark.parametrize("cause", CASES)
def test_the_cause_is_named_with_its_lines_and_what_would_settle_it(cause: str, tmp_path: Path) -> None:
    found = {one["cause"]: one for one in explained(CASES[cause][0], tmp_path)}
    assert cause in found, list(found)
    assert len(found) <= MOST
    assert found[cause]["for"] and found[cause]["settled_by"]
    assert all(min(sign["lines"]) > 0 for sign in found[cause]["for"])


@pytest.mark.parametrize("cause", CASES)
def test_the_cause_is_not_named_where_it_only_looks_like_it(cause: str, tmp_path: Path) -> None:
    assert cause not in [one["cause"] for one in explained(CASES[cause][1], tmp_path)]


def test_the_likelier_cause_stands_first(tmp_path: Path) -> None:
    """A module that refuses for its supply, readings that sink, an erase that failed: not the memory first."""
    assert explained(shipped("coach-erase-low-voltage"), tmp_path)[0]["cause"] == "the supply was too weak"


def test_steady_readings_speak_against_the_supply(tmp_path: Path) -> None:
    found = explained(refused_block(*STEADY), tmp_path)
    assert [one["cause"] for one in found] == ["the module's memory"]


@pytest.mark.parametrize("name", ["uds11-transfer-refused", "uds11-erase-refused", "uds11-exit-refused"])
def test_one_weak_sign_names_no_cause(name: str, tmp_path: Path) -> None:
    report = report_of(shipped(name), tmp_path)
    assert report["post_mortem"]["explanations"] == []
    assert "Possible cause: not enough to say" in render_text(report, 80)  # type: ignore[arg-type]


def test_two_medium_signs_close_to_the_break_name_a_cause_and_one_does_not() -> None:
    report = analyse(FIXTURES / "uds11-transfer-refused" / "capture.log", None, [FIXTURES / "uds11_names.toml"])
    assert report.post_mortem is not None and report.post_mortem.first_bad is not None
    bad, first = report.post_mortem.first_bad, report.record.exchanges[0]

    def causes(*found: tuple[str, Evidence, Severity]) -> list[str]:
        made = [
            Finding(check_id, severity, Confidence.HIGH, "", "", (), (), (), (shown,), "")
            for check_id, shown, severity in found
        ]
        assert report.post_mortem is not None
        return [one.cause for one in explain(report.record, report.post_mortem, made)]

    gap, stall = (("session-gap", bad, Severity.WARNING), ("tester-gives-up-early", bad, Severity.WARNING))
    assert causes(gap, stall) == ["the tester, its computer or its adapter"]
    assert causes(gap) == []
    assert causes(gap, ("tester-gives-up-early", bad, Severity.NOTE)) == [], "what was overcome is no sign"
    elsewhere = Evidence(first.capture + 1, first.lines, "in another recording")
    assert causes(gap, ("tester-gives-up-early", elsewhere, Severity.WARNING)) == []
