"""Every shipped capture gives a report that fits the contract and a terminal."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from analysis import analyse
from analysis.report import schema
from analysis.report.contract import ReportDict
from analysis.report.text import render_text

FIXTURES = Path(__file__).parents[3] / "fixtures"
CAPTURES = sorted([*FIXTURES.glob("*/capture.log"), *FIXTURES.glob("real/*.asc"), *FIXTURES.glob("real/*.csv")])
VALIDATOR = Draft202012Validator(json.loads(schema.SCHEMA_FILE.read_text(encoding="utf-8")))


def name_of(path: Path) -> str:
    return path.parent.name if path.name == "capture.log" else path.name


def words_without_a_way_out(report: ReportDict) -> list[str]:
    """Acts, items and parts that are not confirmed and do not say what would change that."""
    said = [(item["kind"], item["word"], item["would_change"]) for item in report["operations"]]
    said += [(item["item"], item["word"], item["would_change"]) for item in report["expectations"]]
    for name, part in report["verdict"]["parts"].items():
        said.append((name, part["word"], " ".join(part["would_change"])))  # type: ignore[attr-defined]
    return [f"{what}: {word}" for what, word, wish in said if word != "confirmed" and not wish]


@pytest.mark.parametrize("path", CAPTURES, ids=name_of)
def test_the_report_of(path: Path) -> None:
    vehicle = name_of(path).split("-")[0]
    names, job = FIXTURES / f"{vehicle}_names.toml", FIXTURES / f"{vehicle}.toml"
    report = analyse(path, job if job.exists() else None, [names] if names.exists() else []).to_dict()
    plain = json.loads(json.dumps(report))
    assert [f"{error.json_path}: {error.message}" for error in VALIDATOR.iter_errors(plain)] == []
    assert plain == report, "the report is plain data already"
    assert words_without_a_way_out(report) == []
    for width in (60, 80, 120):
        text = render_text(report, width)
        assert max(map(len, text.splitlines())) <= width
        rest = re.sub(r"^WHAT WAS READ\n.*?\n\n", "", text, flags=re.M | re.S)
        assert not re.search(r"[0-9A-F]{41}", rest), "long hex is shortened, except values to copy by hand"
