"""The answer: a word for each part of the job, an overall word, and what to do next.

Without a sheet the overall word is the worst of the downloads, writes of data and VIN, clears and learn routines
seen; supporting acts never lower it. With a sheet it is the worst of the sheet's items.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from analysis.checks.finding import Finding
from analysis.expectations import Expectation
from analysis.headline import CALLED, headline
from analysis.modules import ModuleState
from analysis.next_steps import Job, next_steps
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, Part
from analysis.record import Record
from analysis.words import Confidence, Word, least_sure, worst

SHOWN_REASONS = 4
#: Words of an attempt that something would still change.
OPEN = (Word.UNPROVEN, Word.FAILED, Word.INTERRUPTED)
#: People's words for the tokens.
SPOKEN = {
    Word.CONFIRMED: "confirmed",
    Word.UNPROVEN: "completed, not proven",
    Word.FAILED: "failed",
    Word.INTERRUPTED: "interrupted",
    Word.NOT_SHOWN: "not shown",
}


@dataclass(frozen=True, slots=True)
class PartWord:
    """The word of one part of the job."""

    word: Word
    confidence: Confidence
    because: tuple[str, ...]
    would_change: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """The whole answer."""

    headline: str
    overall: Word
    confidence: Confidence
    parts: dict[Part, PartWord]
    next_steps: tuple[str, ...]
    attempted: bool


def give_verdict(
    record: Record,
    operations: Sequence[Operation],
    modules: Sequence[ModuleState],
    expectations: Sequence[Expectation] | None,
    findings: Sequence[Finding],
) -> Verdict:
    """Weigh everything found. ``expectations`` None: there is no sheet."""
    counted = [item for item in standing(operations) if item.part is not None]
    parts = {part: _part(part, counted, expectations) for part in Part}
    asked = expectations or []
    if asked:
        overall = worst(item.word for item in asked) or Word.NOT_SHOWN
        sure = least_sure(item.confidence for item in asked if item.word is overall)
    else:
        overall = worst(item.outcome.word for item in counted) or Word.NOT_SHOWN
        sure = least_sure(item.outcome.confidence for item in counted if item.outcome.word is overall)
    job = Job(record, operations, modules, asked, findings, overall)
    words = {part: said.word for part, said in parts.items()}
    missing = [CALLED[part] for part, said in parts.items() if said.word is Word.NOT_SHOWN and said.would_change]
    wishes = [text for said in parts.values() if said.word in OPEN for text in said.would_change]
    return Verdict(headline(job, words), overall, sure, parts, next_steps(job, wishes, missing), bool(counted))


def _part(part: Part, counted: Sequence[Operation], expectations: Sequence[Expectation] | None) -> PartWord:
    items = [item for item in expectations or () if item.part is part]
    acts = [item for item in counted if item.part is part]
    if items:
        meant = {item.link for item in items}
        return _from_items(items, [item for item in acts if item.link.key in meant])
    return _from_acts(acts)


def _from_items(items: Sequence[Expectation], acts: Sequence[Operation]) -> PartWord:
    word = worst(item.word for item in items) or Word.NOT_SHOWN
    deciding = [item for item in items if item.word is word]
    told = [_item_text(item) for item in deciding[:SHOWN_REASONS]]
    if len(deciding) > SHOWN_REASONS:
        told.append(f"and {len(deciding) - SHOWN_REASONS} more like it")
    done = worst(item.outcome.word for item in acts)
    reasons = _act_reasons(acts, word)
    because = reasons + told if done is word else told + reasons
    wishes = _unique(item.would_change for item in deciding)
    return PartWord(word, least_sure(item.confidence for item in deciding), _unique(because), wishes)


def _act_reasons(acts: Sequence[Operation], word: Word) -> list[str]:
    """What the acts themselves say, first of all where it differs from what the sheet says."""
    done = worst(item.outcome.word for item in acts)
    if done is None:
        return []
    reason = _first_reason(acts, done)
    return [reason if done is word else f"the act itself is {SPOKEN[done]}: {reason}"]


def _item_text(item: Expectation) -> str:
    found = f"found {item.found}" if item.found else "nothing found"
    note = f" ({item.note})" if item.note else ""
    return f"{item.item}: asked {item.asked}, {found}{note}"


def _first_reason(acts: Iterable[Operation], word: Word) -> str:
    return next((item.outcome.because[0] for item in acts if item.outcome.word is word and item.outcome.because), "")


def _from_acts(acts: Sequence[Operation]) -> PartWord:
    word = worst(item.outcome.word for item in acts)
    if word is None:
        return PartWord(Word.NOT_SHOWN, Confidence.HIGH, ("no attempt at it is in the capture",), ())
    deciding = [item for item in acts if item.outcome.word is word]
    because = []
    if len(acts) > 1:
        counts = Counter(item.outcome.word for item in acts)
        because.append(", ".join(f"{counts[one]} of {len(acts)} {SPOKEN[one]}" for one in counts))
    for item in deciding[:SHOWN_REASONS]:
        because += [f"{item.label}: {text}" for text in item.outcome.because[: _reasons_for(item)]]
    wishes = _unique(item.outcome.would_change for item in deciding if word is not Word.CONFIRMED)
    return PartWord(word, least_sure(item.outcome.confidence for item in deciding), _unique(because), wishes)


def _reasons_for(item: Operation) -> int:
    """Downloads explain themselves in full; a write in a row of writes with one line."""
    return SHOWN_REASONS if item.kind is Kind.DOWNLOAD else 1


def _unique(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for text in texts if text))
