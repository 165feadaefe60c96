"""What a check sees: a finding, never without evidence."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.words import Confidence, Evidence, Severity


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing seen, with what it can mean. The texts come from the check's own docstring."""

    id: str
    severity: Severity
    confidence: Confidence
    title: str
    explanation: str
    try_next: tuple[str, ...]
    cautions: tuple[str, ...]
    look_alikes: tuple[str, ...]
    evidence: tuple[Evidence, ...]
    source: str
    comes_first: bool = False  # its first step is done before anything else
    case: str = ""  # what was seen this time, without what it can mean

    def __post_init__(self) -> None:
        if not self.evidence:
            raise ValueError(f"{self.id}: a finding without evidence")
