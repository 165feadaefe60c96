"""Where an act was done as it was ordered, and still is not what was meant: a value stored in the wrong place.

The word of an act says what became of the act. What the job sheet asks for, and what findings say about the value,
stands beside it, so that nowhere a bare "confirmed" stands for a value that is wrong.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from analysis.answer.advice import inside
from analysis.checks.finding import Finding
from analysis.operations.model import Kind, Operation
from analysis.sheet.expectations import Expectation
from analysis.words import Word

#: Findings that say of a value which is stored as it was written that it is wrong, or may be.
ABOUT_VALUES: Final = frozenset(
    {
        "trims-overwritten", "trims-order-suspicious", "trims-two-equal", "trims-default", "trims-check-bad",
        "trims-implausible",
        "copy-differs", "vin-typed-wrong", "vin-foreign", "vin-disagrees", "calibration-not-expected",
    }
)  # fmt: skip
NOT_ASKED: Final = "not what the job sheet asks for"


class NotAsMeant(NamedTuple):
    """Why an act that was done is not what was meant."""

    word: Word  # of the sheet's item; the act's own where only a finding speaks
    why: str


def not_as_meant(
    operations: Iterable[Operation], expectations: Sequence[Expectation], findings: Sequence[Finding]
) -> dict[int, NotAsMeant]:
    """By number of the operation; only those that are confirmed by themselves and doubted otherwise."""
    return {
        operation.number: doubt
        for operation in operations
        if operation.outcome.word is Word.CONFIRMED and operation.part is not None
        for doubt in _doubts(operation, expectations, findings)
    }


def _doubts(
    operation: Operation, expectations: Sequence[Expectation], findings: Sequence[Finding]
) -> Iterable[NotAsMeant]:
    """At most one: the sheet's word, and what every side says."""
    items = [
        item
        for item in expectations
        if item.operation == operation.number and item.word in (Word.FAILED, Word.UNPROVEN)
    ]
    wrong = next((item for item in items if item.word is Word.FAILED), None)
    said = [NOT_ASKED] if wrong is not None else [item.note for item in items if item.note]
    said += [inside(item.title) for item in findings if item.id in ABOUT_VALUES and _is_about(item, operation)]
    if items or said:
        word = wrong.word if wrong is not None else items[0].word if items else operation.outcome.word
        verb = "stored as written" if operation.kind in (Kind.WRITE, Kind.WRITE_MEMORY) else "done"
        yield NotAsMeant(word, f"{verb}, but {'; '.join(dict.fromkeys(said)) or NOT_ASKED}")


def _is_about(finding: Finding, operation: Operation) -> bool:
    """They rest on the same lines."""
    shown = {(one.capture, one.lines) for one in operation.outcome.proof}
    return any((one.capture, one.lines) in shown for one in finding.evidence)
