"""What a check sees: a finding, never without evidence."""

from __future__ import annotations

import re
from dataclasses import dataclass

from analysis.words import Confidence, Evidence, Severity

#: Two lines of a terminal, together with the title.
LONGEST_CASE = 120
FIRST_SENTENCE = re.compile(r".+?\.(?= [A-Z0-9]|$)")


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

    @property
    def heading(self) -> str:
        """The title; of a serious finding with the case: which module, which value, why."""
        return f"{self.title}: {self._in_heading.rstrip('.')}" if self._in_heading else self.title

    @property
    def body(self) -> str:
        """The explanation, without what the heading says already."""
        return self.explanation.removeprefix(self._in_heading).lstrip()

    @property
    def _in_heading(self) -> str:
        """The first sentence of the case, where it belongs into the heading and is short enough."""
        first = FIRST_SENTENCE.match(self.case)
        is_fit = first is not None and self.severity is Severity.SERIOUS and len(first[0]) <= LONGEST_CASE
        return first[0] if first is not None and is_fit else ""
