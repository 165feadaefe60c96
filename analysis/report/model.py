"""The report as objects: what every medium is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.answer.verdict import Verdict
from analysis.as_meant import NotAsMeant
from analysis.breaks.postmortem import PostMortem
from analysis.checks.finding import Finding
from analysis.modules import ModuleState
from analysis.operations.model import Operation
from analysis.record import Record
from analysis.sheet.expectations import Expectation
from analysis.trims.found import Trim

if TYPE_CHECKING:
    from analysis.report.contract import ReportDict


@dataclass(frozen=True)
class Report:
    """Everything found and concluded."""

    record: Record
    operations: tuple[Operation, ...]
    modules: tuple[ModuleState, ...]
    expectations: tuple[Expectation, ...]
    trims: tuple[Trim, ...]
    verdict: Verdict
    findings: tuple[Finding, ...]
    not_as_meant: Mapping[int, NotAsMeant]
    cannot_show: tuple[str, ...]
    post_mortem: PostMortem | None
    job_sha256: str | None
    names_sha256: tuple[str, ...]

    def to_dict(self, *, secrets: bool = False) -> ReportDict:
        """The report as the JSON contract has it; ``secrets``: seeds and keys in clear."""
        from analysis.report.as_json import report_dict

        return report_dict(self, secrets=secrets)

    def to_text(self, width: int = 80, *, color: bool = False) -> str:
        """The report for a terminal."""
        from analysis.report.text import render_text

        return render_text(self.to_dict(), width, color)
