"""`canlog findings`: the manual made from the checks."""

from __future__ import annotations

from click.testing import CliRunner

from analysis.checks.registry import HEADINGS
from analysis.checks.runner import load_checks
from analysis.cli import main


def run(*arguments: str) -> str:
    result = CliRunner().invoke(main, ["findings", *arguments])
    assert result.exit_code == 0
    return result.stdout


def test_every_finding_is_listed_once_in_order() -> None:
    listed = [line.split()[0] for line in run().splitlines()]
    assert listed == sorted(load_checks())


def test_one_finding_is_explained_under_every_heading() -> None:
    page = run("erase-failed")
    assert page.startswith("ERASE-FAILED")
    assert all(f"{heading}: " in page for heading in HEADINGS)


def test_the_manual_holds_all_of_them() -> None:
    page = run("--all")
    assert all(f"{name.upper()}" in page for name in load_checks())
    assert page.count("What to try: ") == len(load_checks())


def test_an_unknown_finding_is_a_hint() -> None:
    result = CliRunner().invoke(main, ["findings", "no-such-thing"])
    assert result.exit_code == 2
    assert "canlog findings" in result.stderr
    assert "Traceback" not in result.stderr
