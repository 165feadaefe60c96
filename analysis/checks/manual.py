"""The manual of the findings, made from the checks themselves: nothing in it can be out of date."""

from __future__ import annotations

from analysis.checks.registry import HEADINGS, Check
from analysis.checks.runner import load_checks
from analysis.report.lines import Lines
from analysis.requests_said import IN_EACH_DIALECT
from canlog.errors import CanlogError


def tell_index(page: Lines) -> None:
    """Every finding in a line: id, severity, title."""
    checks = sorted(load_checks().values(), key=lambda one: one.id)
    widest = max(len(one.id) for one in checks)
    page.table((), (widest, len("serious"), 0), indent=0)
    for one in checks:
        page.row(one.id, one.severity.value, one.title)


def tell_entry(page: Lines, check_id: str) -> None:
    """All that is said of one finding.

    Raises:
        CanlogError: there is none of that id.
    """
    checks = load_checks()
    if check_id not in checks:
        raise CanlogError(f"there is no finding {check_id!r}", hint="`canlog findings` lists them")
    _write(page, checks[check_id])


def tell_whole(page: Lines) -> None:
    """The whole manual, in order of ids."""
    for one in sorted(load_checks().values(), key=lambda check: check.id):
        _write(page, one)


def _write(page: Lines, one: Check) -> None:
    page.heading(one.id, f"{one.severity.value}: {one.title}")
    for heading in HEADINGS:
        text = one.texts[heading]
        page.text(text.format_map(IN_EACH_DIALECT) if heading == "What to try" else text, mark=f"{heading}: ", hang=4)
