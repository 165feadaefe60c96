"""The manual of the findings, made from the checks themselves: nothing in it can be out of date."""

from __future__ import annotations

from analysis.checks.registry import HEADINGS, Check
from analysis.checks.runner import load_checks
from analysis.report.lines import Lines
from canlog.errors import CanlogError


def index(width: int) -> str:
    """Every finding in a line: id, severity, title."""
    page = Lines(width, color=False)
    tell_index(page)
    return str(page)


def tell_index(page: Lines) -> None:
    """The same on a page that somebody else shows."""
    checks = sorted(load_checks().values(), key=lambda one: one.id)
    widest = max(len(one.id) for one in checks)
    page.table((), (widest, len("serious"), 0), indent=0)
    for one in checks:
        page.row(one.id, one.severity.value, one.title)


def entry(check_id: str, width: int) -> str:
    """All that is said of one finding.

    Raises:
        CanlogError: there is none of that id.
    """
    checks = load_checks()
    if check_id not in checks:
        raise CanlogError(f"there is no finding {check_id!r}", hint="`canlog findings` lists them")
    page = Lines(width, color=False)
    _write(page, checks[check_id])
    return str(page)


def whole(width: int) -> str:
    """The whole manual, in order of ids."""
    page = Lines(width, color=False)
    for one in sorted(load_checks().values(), key=lambda check: check.id):
        _write(page, one)
    return str(page)


def _write(page: Lines, one: Check) -> None:
    page.heading(one.id, f"{one.severity.value}: {one.title}")
    for heading in HEADINGS:
        page.text(one.texts[heading], mark=f"{heading}: ", hang=4)
