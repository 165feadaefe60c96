"""How a check is declared: a function with an id, a severity and a docstring that *is* the user's text.

The docstring is the function's or, where it has none, its file's: one file, one question, one text. Its first line
is the title. Then fixed headings, each at the beginning of a line and followed by text
that may run over several lines:

``What is seen:`` ``What it can mean:`` ``How to tell it from look-alikes:`` ``What to try:`` ``Caution:``
``Evidence:`` (may end in ``Source: …``). Steps to try and look-alikes are parted by ";"; a caution of "none" is none.

A check reads the context only; it opens nothing and knows no other check.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from analysis.exchanges import Exchange
from analysis.modules import ModuleState
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation
from analysis.record import Record
from analysis.sheet.expectations import Expectation
from analysis.sheet.jobsheet import JobSheet
from analysis.story import Story
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
    expectations: Sequence[Expectation] = ()  # the sheet's items, judged

    @cached_property
    def stories(self) -> list[Story]:
        """Modules that were spoken to alone, in order of first appearance."""
        return [story for story in self.record.stories if self.own(story)]

    @cached_property
    def _own(self) -> dict[str, list[Exchange]]:
        return {
            story.link.key: [exchange for exchange in story.exchanges if exchange.link.key == story.link.key]
            for story in self.record.stories
        }

    def own(self, story: Story) -> list[Exchange]:
        """Exchanges on a module's own link, and its answers to requests to all."""
        return self._own[story.link.key]

    def exchange(self, number: int) -> Exchange:
        """An exchange by its number (from 1)."""
        return self.record.exchanges[number - 1]

    def act(self, operation: Operation) -> Exchange:
        """The first exchange of an operation."""
        return self.exchange(operation.exchanges[0])

    def end_ns(self, capture: int) -> int | None:
        """The last time in a capture; None without a clock."""
        return self.record.capture(capture).survey.summary.last_time_ns

    def standing(self, kind: Kind) -> Sequence[Operation]:
        """Operations of a kind that no later attempt replaced."""
        return self._standing.get(kind, ())

    @cached_property
    def _standing(self) -> dict[Kind, list[Operation]]:
        found: dict[Kind, list[Operation]] = {}
        for item in standing(self.operations):
            found.setdefault(item.kind, []).append(item)
        return found


@dataclass(frozen=True, slots=True)
class Seen:
    """What a check yields: how sure, the lines, and what is special about this case.

    ``text`` says this case in a sentence or two, the first with module, value and reason: of a serious finding it
    stands in the title. ``step`` is what to try first in it; ``severity`` may only be less than the check's own.
    What this capture rules out does not stand in ``causes``.
    """

    confidence: Confidence
    evidence: tuple[Evidence, ...]
    text: str = ""
    step: str = ""
    severity: Severity | None = None
    is_over: bool = False  # the same was done well later: nothing is to be repeated
    causes: str = ""  # what is possible in this case, parted by ";", in place of the check's own list


Look = Callable[[Context], Iterator[Seen]]


@dataclass(frozen=True, slots=True)
class Check:
    """A declared check."""

    id: str
    severity: Severity
    look: Look
    title: str
    texts: dict[str, str]  # by heading
    comes_first: bool = False  # what it advises is done before anything else


#: Every check by id, in order of declaration.
CHECKS: dict[str, Check] = {}


def check(check_id: str, *, severity: Severity, comes_first: bool = False) -> Callable[[Look], Look]:
    """Declare a check; its docstring, or else its module's, is the user's text.

    Raises:
        ValueError: the id is taken or a heading is missing.
    """

    def declare(look: Look) -> Look:
        if check_id in CHECKS:
            raise ValueError(f"check {check_id} is declared twice")
        title, texts = read_texts(inspect.getdoc(look) or inspect.getdoc(inspect.getmodule(look)) or "")
        missing = [heading for heading in HEADINGS if heading not in texts]
        if missing:
            raise ValueError(f"check {check_id}: no text for {missing[0]!r}")
        CHECKS[check_id] = Check(check_id, severity, look, title, texts, comes_first)
        return look

    return declare


def read_texts(docstring: str) -> tuple[str, dict[str, str]]:
    """Title and the text under each heading."""
    title, _, rest = docstring.partition("\n")
    pattern = re.compile(rf"(?:^|(?<=\s))({'|'.join(map(re.escape, HEADINGS))}):\s", re.MULTILINE)
    pieces = pattern.split(rest)
    texts = {heading: " ".join(text.split()) for heading, text in zip(pieces[1::2], pieces[2::2], strict=True)}
    return title.strip().rstrip("."), texts
