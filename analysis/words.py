"""The words of a verdict, as types: it has to be hard to say *confirmed*."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Word(StrEnum):
    """What happened to one thing that was to be done."""

    CONFIRMED = "confirmed"
    UNPROVEN = "unproven"
    FAILED = "failed"
    INTERRUPTED = "interrupted"
    NOT_SHOWN = "not-shown"


#: For an overall word: the first of these that occurs. "Not shown" outranks "unproven" because only what was
#: asked for is ever counted as not shown.
WORST_FIRST = (Word.FAILED, Word.INTERRUPTED, Word.NOT_SHOWN, Word.UNPROVEN, Word.CONFIRMED)
#: Words of an act that came to no good end.
BROKEN = (Word.FAILED, Word.INTERRUPTED)


class Confidence(StrEnum):
    """How sure we are of a word; says nothing about how bad it is."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class Severity(StrEnum):
    """How bad a finding is if true; says nothing about how sure we are."""

    NOTE = "note"
    WARNING = "warning"
    SERIOUS = "serious"


_LEAST_FIRST = (Confidence.LOW, Confidence.MEDIUM, Confidence.HIGH)


def least_sure(levels: Iterable[Confidence]) -> Confidence:
    """The lowest of several confidences; high when there are none."""
    return min(levels, key=_LEAST_FIRST.index, default=Confidence.HIGH)


def worst(words: Iterable[Word]) -> Word | None:
    """The word that decides for several; None when there are none."""
    return min(words, key=WORST_FIRST.index, default=None)


@dataclass(frozen=True, slots=True)
class Evidence:
    """Source lines of one capture, and what they show. Never without lines."""

    capture: int
    lines: tuple[int, ...]
    text: str

    def __post_init__(self) -> None:
        if not self.lines:
            raise ValueError(f"evidence without lines: {self.text}")

    @property
    def where(self) -> str:
        """``line 3``, ``lines 3-5``: for sentences that name the place."""
        first, last = self.lines[0], self.lines[-1]
        return f"line {first}" if first == last else f"lines {first}-{last}"


@dataclass(frozen=True, slots=True)
class Outcome:
    """A word with its confidence, its proof and what would change it.

    Raises:
        ValueError: confirmed without proof.
    """

    word: Word
    confidence: Confidence
    proof: tuple[Evidence, ...] = ()
    because: tuple[str, ...] = ()
    would_change: str = ""

    def __post_init__(self) -> None:
        if self.word is Word.CONFIRMED and not self.proof:
            raise ValueError("confirmed without proof")
