"""The report for a terminal: the answer first, then why, then everything that leads further.

The order is that of the question a person at the vehicle asks: what happened, what is the module now, what became
of the job, what next, can this capture be trusted; only then the items of the sheet, the values and the evidence.
"""

from __future__ import annotations

from analysis.report import answer_text, evidence_text
from analysis.report.again import Again
from analysis.report.contract import ReportDict
from analysis.report.lines import Lines


def render_text(report: ReportDict, width: int = 80, color: bool = False, again: Again | None = None) -> str:
    """The report as text, no line wider than ``width`` (at least 40) columns; ends with a newline.

    ``again``: how it was asked for; without it the captures stand with their bare names.
    """
    page = Lines(width, color=color)
    tell_report(page, report, again)
    return str(page)


def tell_report(page: Lines, report: ReportDict, again: Again | None = None) -> None:
    """The same on a page that somebody else shows."""
    for section in (*answer_text.SECTIONS, *answer_text.DETAILS, *evidence_text.SECTIONS):
        section(page, report)
    evidence_text.how_to_see_more(page, report, again)
