"""How a check is declared: a function with an id, a severity and a docstring that *is* the user's text.

The docstring's first line is the title. Then fixed headings, each at the beginning of a line and followed by text
that may run over several lines:

``What is seen:`` ``What it can mean:`` ``How to tell it from look-alikes:`` ``What to try:`` ``Caution:``
``Evidence:`` (may end in ``Source: …``).

A check reads the context only; it opens nothing and knows no other check.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from analysis.jobsheet import JobSheet
from analysis.modules import ModuleState
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation
from analysis.record import Record
from analysis.words import Confidence, Evidence, Severity

HEADINGS = (
    "What is seen", "What it can mean", "How to tell it from look-alikes", "What to try", "Caution", "Evidence",
    "Source",
)  # fmt: skip


@dataclass(frozen=True)
class Context:
    """All that a check may look at."""

    record: Record
    operations: Sequence[Operation]
    modules: Sequence[ModuleState]
    sheet: JobSheet | None

    def standing(self, kind: Kind) -> list[Operation]:
        """Operations of a kind that no later attempt replaced."""
        return [item for item in standing(self.operations) if item.kind is kind]


@dataclass(frozen=True, slots=True)
class Seen:
    """What a check yields: how sure, the lines, and (where it helps) a sentence for this case."""

    confidence: Confidence
    evidence: tuple[Evidence, ...]
    text: str = ""


Look = Callable[[Context], Iterator[Seen]]


@dataclass(frozen=True, slots=True)
class Check:
    """A declared check."""

    id: str
    severity: Severity
    look: Look
    title: str
    texts: dict[str, str]  # by heading


#: Every check by id, in order of declaration.
CHECKS: dict[str, Check] = {}


def check(check_id: str, *, severity: Severity) -> Callable[[Look], Look]:
    """Declare a check; its module's docstring is the user's text.

    Raises:
        ValueError: the id is taken or a heading is missing.
    """

    def declare(look: Look) -> Look:
        if check_id in CHECKS:
            raise ValueError(f"check {check_id} is declared twice")
        title, texts = read_texts(inspect.getdoc(look) or "")
        missing = [heading for heading in HEADINGS if heading not in texts]
        if missing:
            raise ValueError(f"check {check_id}: no text for {missing[0]!r}")
        CHECKS[check_id] = Check(check_id, severity, look, title, texts)
        return look

    return declare


def read_texts(docstring: str) -> tuple[str, dict[str, str]]:
    """Title and the text under each heading."""
    title, _, rest = docstring.partition("\n")
    pattern = re.compile(rf"(?:^|(?<=\s))({'|'.join(map(re.escape, HEADINGS))}):\s", re.MULTILINE)
    pieces = pattern.split(rest)
    texts = {heading: " ".join(text.split()) for heading, text in zip(pieces[1::2], pieces[2::2], strict=True)}
    return title.strip().rstrip("."), texts
