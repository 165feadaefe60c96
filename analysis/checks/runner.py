"""Runs every check. The one place where any exception is caught: a broken check says so, the report still comes."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from pkgutil import iter_modules

import analysis.checks
from analysis.checks.finding import Finding
from analysis.checks.registry import CHECKS, Check, Context, Seen
from analysis.words import Confidence, Evidence, Severity

NOT_CHECKS = frozenset({"finding", "registry", "runner"})


def load_checks() -> dict[str, Check]:
    """Import every file of this folder that declares checks."""
    for item in sorted(iter_modules(analysis.checks.__path__), key=lambda found: found.name):
        if item.name not in NOT_CHECKS:
            import_module(f"analysis.checks.{item.name}")
    return CHECKS


def run_checks(context: Context) -> list[Finding]:
    """All findings, the most severe first."""
    found = [finding for check in load_checks().values() for finding in run_one(check, context)]
    rank = (Severity.SERIOUS, Severity.WARNING, Severity.NOTE)
    return sorted(found, key=lambda finding: rank.index(finding.severity))


def run_one(check: Check, context: Context) -> list[Finding]:
    """The findings of one check, or the one that says it is broken."""
    try:
        return list(_findings(check, context))
    except Exception as error:  # noqa: BLE001  a bug of ours must not cost the user the report
        return [_broken(check, error)]


def _findings(check: Check, context: Context) -> Iterator[Finding]:
    for seen in check.look(context):
        yield _finding(check, seen)


def _finding(check: Check, seen: Seen) -> Finding:
    texts = check.texts
    explanation = " ".join(text for text in (seen.text, texts["What it can mean"]) if text)
    return Finding(
        id=check.id,
        severity=check.severity,
        confidence=seen.confidence,
        title=check.title,
        explanation=explanation,
        try_next=(texts["What to try"],),
        cautions=(texts["Caution"],) if not texts["Caution"].lower().startswith("none") else (),
        look_alikes=(texts["How to tell it from look-alikes"],),
        evidence=seen.evidence,
        source=texts["Source"].rstrip("."),
    )


def _broken(check: Check, error: Exception) -> Finding:
    return Finding(
        id=check.id,
        severity=Severity.NOTE,
        confidence=Confidence.HIGH,
        title=f"the check {check.id} is broken",
        explanation=f"A fault of canlog itself: {type(error).__name__}: {error}. The rest of the report stands.",
        try_next=(),
        cautions=(),
        look_alikes=(),
        evidence=(Evidence(1, (1,), "this check saw nothing of the capture"),),
        source="canlog",
    )
