"""Every true link of the fixtures in other dialects and addressing forms is found, and no other; each is read in its
dialect, and a good session makes no check cry. The truth is the simulator's (``truth.json``), functional ids are
written here.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import pytest

from analysis import analyse
from analysis.report.model import Report

FIXTURES = Path(__file__).parents[2] / "fixtures"
DIALECT = {"SHU": "kwp2000", "LGU": "gmw3110", "PCU": "uds", "PMU": "uds", "ENG": "obd", "TRM": "obd"}
GROUPS = {
    "kwp": {"7DF>": "kwp2000"},
    "gmw": {"101.FE>": "gmw3110"},
    "obd": {"7DF>": "obd"},
    "mixed": {"7DF>": "uds", "101.FE>": "gmw3110"},
    "ext11": {"6F1.DF>": "uds"},
    "mix29": {"18CD33F1.9C>": "uds"},
}
NAMES = sorted(path.parent.name for path in FIXTURES.glob("*/truth.json") if path.parent.name.split("-")[0] in GROUPS)
#: What is worth a word in a session that went well: nothing, or that no names were given.
GOOD = ("all-good", "no-counter", "scan", "clear", "three-dialects")


@cache
def report_of(name: str, *, named: bool = False) -> Report:
    world = name.split("-")[0]
    names = [FIXTURES / f"{world}_names.toml"] if named else []
    return analyse(FIXTURES / name / "capture.log", names=names)


@pytest.mark.parametrize("name", NAMES)
def test_every_true_link_is_found_and_no_other_and_read_in_its_dialect(name: str) -> None:
    truth = json.loads((FIXTURES / name / "truth.json").read_text())["modules"]
    wanted = {one["link"].replace(":", ">"): DIALECT[label] for label, one in truth.items()}
    found = report_of(name).record.dialects
    said = {key.partition(":")[2]: guess.dialect for key, guess in found.items()}
    assert said == wanted | GROUPS[name.split("-")[0]]
    assert not any(guess.is_mixed for guess in found.values())


@pytest.mark.parametrize("name", [name for name in NAMES if name.endswith(GOOD)])
def test_no_check_cries_on_a_good_session(name: str) -> None:
    assert [finding.id for finding in report_of(name, named=True).findings] == []


@pytest.mark.parametrize("name", ["kwp-tester-silent", "gmw-tester-silent"])
def test_who_fell_silent_first_is_found_in_every_dialect(name: str) -> None:
    assert "silence-tester-first" in {finding.id for finding in report_of(name).findings}


@pytest.mark.parametrize("name", ["kwp-module-silent", "gmw-module-silent"])
def test_a_module_that_falls_silent_is_found_in_every_dialect(name: str) -> None:
    assert "silence-module-first" in {finding.id for finding in report_of(name).findings}


@pytest.mark.parametrize("name", ["kwp-dtc-returns", "gmw-dtc-returns"])
def test_a_fault_that_returns_is_found_in_every_dialect(name: str) -> None:
    assert "dtc-returns" in {finding.id for finding in report_of(name).findings}
