"""Runs every check. The one place where any exception is caught: a broken check says so, the report still comes."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from pkgutil import iter_modules

import analysis.checks
from analysis.checks.finding import Finding
from analysis.checks.looking.causes import in_words
from analysis.checks.looking.harm import fitted
from analysis.checks.registry import CHECKS, Check, Context, Seen
from analysis.requests_said import dialects_of, requests_of
from analysis.words import Confidence, Evidence, Severity

NOT_CHECKS = frozenset({"finding", "looking", "manual", "registry", "runner"})
#: A finding shows as many places; the text gives the count.
SHOWN_EVIDENCE = 12
#: In place of what a check advises where the trouble was overcome.
IS_OVER = "Nothing has to be repeated for this; see to its cause before the next job."
MOST_SEVERE_FIRST = (Severity.SERIOUS, Severity.WARNING, Severity.NOTE)


def load_checks() -> dict[str, Check]:
    """Import every file of this folder that declares checks."""
    for item in sorted(iter_modules(analysis.checks.__path__), key=lambda found: found.name):
        if item.name not in NOT_CHECKS:
            import_module(f"analysis.checks.{item.name}")
    return CHECKS


def run_checks(context: Context) -> list[Finding]:
    """All findings, the most severe first."""
    found = [finding for check in load_checks().values() for finding in run_one(check, context)]
    return sorted(found, key=lambda finding: MOST_SEVERE_FIRST.index(finding.severity))


def run_one(check: Check, context: Context) -> list[Finding]:
    """The findings of one check, or the one that says it is broken."""
    try:
        return list(_findings(check, context))
    except Exception as error:  # noqa: BLE001  a bug of ours must not cost the user the report
        return [_broken(check, error)]


def _findings(check: Check, context: Context) -> Iterator[Finding]:
    for seen in check.look(context):
        asked = requests_of(*dialects_of(seen.evidence, context.record))
        to_try = check.texts["What to try"].format_map(asked)
        yield _finding(check, seen, to_try, fitted(check.texts["Caution"], seen.evidence, context))


def _finding(check: Check, seen: Seen, to_try: str, caution: str) -> Finding:
    texts = check.texts
    explanation = f"{seen.text or texts['What is seen']} {in_words(seen.causes or texts['What it can mean'])}"
    severity = max(check.severity, seen.severity or check.severity, key=MOST_SEVERE_FIRST.index)
    return Finding(
        id=check.id,
        severity=severity,
        confidence=seen.confidence,
        title=check.title,
        explanation=explanation,
        try_next=(IS_OVER,) if seen.is_over else tuple(dict.fromkeys([*_sentences(seen.step), *_sentences(to_try)])),
        cautions=() if seen.is_over or caution.lower().startswith("none") else (_sentence(caution),),
        look_alikes=_sentences(texts["How to tell it from look-alikes"]),
        evidence=seen.evidence[:SHOWN_EVIDENCE],
        source=texts["Source"].rstrip("."),
        comes_first=check.comes_first,
        case=seen.text,
    )


def _sentences(text: str) -> tuple[str, ...]:
    """Parts divided by ";" as sentences."""
    return tuple(_sentence(part) for part in text.split(";") if part.strip())


def _sentence(text: str) -> str:
    stripped = text.strip().rstrip(".")
    return stripped[:1].upper() + stripped[1:] + "."


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
