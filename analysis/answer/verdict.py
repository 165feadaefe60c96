"""The answer: a word for each part of the job, an overall word, and what to do next.

Without a sheet the overall word is the worst of the downloads, writes of data and VIN, clears and learn routines
seen; supporting acts never lower it. With a sheet it is the worst of the sheet's items; where those are all confirmed,
a programming of another module that broke off counts as well. A module that something was done to and that does not
answer at the end, or only by its boot loader, keeps it from being confirmed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from analysis.answer.headline import CALLED, headline
from analysis.answer.next_steps import Job, next_steps, without_open_values
from analysis.checks.finding import Finding
from analysis.modules import ModuleState, Now
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, Part
from analysis.readings import said_identifiers
from analysis.record import Record
from analysis.sheet.expectations import Expectation
from analysis.words import BROKEN, Confidence, Word, least_sure, worst
from canlog.counting import counted

SHOWN_REASONS = 4
#: So many missing items are called by their names.
SHOWN_LACKING = 2
STORED_WRONG = "stored as written, but not what the job sheet asks for"
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
    lacking: str = ""  # of a part of which only something is shown: what the sheet asks for besides


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
    done = [item for item in standing(operations) if item.part is not None]
    helpers = [item for item in standing(operations) if item.details.get("driver_presumed")]
    parts = {part: _part(part, done, expectations, helpers) for part in Part}
    asked = expectations or []
    if asked:
        overall = worst(item.word for item in asked) or Word.NOT_SHOWN
        sure = least_sure(item.confidence for item in asked if item.word is overall)
    else:
        overall = worst(item.outcome.word for item in done) or Word.NOT_SHOWN
        sure = least_sure(item.outcome.confidence for item in done if item.outcome.word is overall)
        sure = _with_helpers(overall, sure, helpers)
    if overall is Word.CONFIRMED and (broken := _broken_unasked(done, asked)):
        overall = worst(item.outcome.word for item in broken) or overall
        sure = least_sure(item.outcome.confidence for item in broken if item.outcome.word is overall)
    if overall is Word.CONFIRMED and _is_left_unwell(modules, done):
        overall, sure = Word.UNPROVEN, least_sure([sure, Confidence.MEDIUM])
    job = without_open_values(Job(record, operations, modules, asked, findings, overall))
    words = {part: said.word for part, said in parts.items()}
    wanted = {item.part for item in asked}
    lacking = {part: said.lacking for part, said in parts.items() if said.lacking}
    missing = [
        CALLED[part] + (f" ({lacking[part]})" if part in lacking else "")
        for part, said in parts.items()
        if said.word is Word.NOT_SHOWN and part in wanted
    ]
    wishes = [text for said in parts.values() if said.word in OPEN for text in said.would_change]
    return Verdict(headline(job, words, lacking), overall, sure, parts, next_steps(job, wishes, missing), bool(done))


def _broken_unasked(done: Sequence[Operation], asked: Sequence[Expectation]) -> list[Operation]:
    """Programming that broke off in a module of which the sheet asks none: it is there, asked for or not."""
    meant = {item.link for item in asked if item.part is Part.PROGRAMMING}
    acts = [item for item in done if item.part is Part.PROGRAMMING and item.link.key not in meant]
    broken = [item for item in acts if item.outcome.word in BROKEN]
    return [item for item in broken if not item.details.get("untouched")]


def _is_left_unwell(modules: Sequence[ModuleState], done: Sequence[Operation]) -> bool:
    """A module that something was done to is mute at the end, or only its boot loader answers.

    No job ends well so, whatever was proved.
    """
    touched = {item.link.key for item in done}
    return any(state.now in (Now.SILENT, Now.BOOT) and state.story.link.key in touched for state in modules)


def _with_helpers(word: Word, sure: Confidence, helpers: Sequence[Operation]) -> Confidence:
    """Nobody says that a helper program is one: as a part of the software it would lack a proof."""
    return least_sure([sure, Confidence.MEDIUM]) if helpers and word is Word.CONFIRMED else sure


def _part(
    part: Part,
    done: Sequence[Operation],
    expectations: Sequence[Expectation] | None,
    helpers: Sequence[Operation],
) -> PartWord:
    items = [item for item in expectations or () if item.part is part]
    acts = [item for item in done if item.part is part]
    if items:
        meant = {item.link for item in items}
        return _from_items(items, [item for item in acts if item.link.key in meant])
    said = _from_acts(acts)
    if part is not Part.PROGRAMMING or said.word is not Word.CONFIRMED or not helpers:
        return said
    presumed = tuple(f"{item.label}: {_presumed(item)}" for item in helpers)
    return replace(said, confidence=_with_helpers(said.word, said.confidence, helpers), because=said.because + presumed)


def _presumed(helper: Operation) -> str:
    address, carried = helper.details["address"], counted(int(str(helper.details["size_carried"])), "byte")
    return f"the download of {carried} to {address} is taken for a helper program; as a part it would not be proven"


def _from_items(items: Sequence[Expectation], acts: Sequence[Operation]) -> PartWord:
    word = worst(item.word for item in items) or Word.NOT_SHOWN
    deciding = [item for item in items if item.word is word]
    wrong = [act for act in acts if _is_stored_wrong(act, deciding)]
    rest = [item for item in deciding if item.operation not in {act.number for act in wrong}]
    told = [f"{_all_of(wrong)}: {STORED_WRONG}"] if wrong else []
    told += [_item_text(item) for item in rest[:SHOWN_REASONS]]
    if len(rest) > SHOWN_REASONS:
        told.append(f"and {len(rest) - SHOWN_REASONS} more like it")
    done = worst(item.outcome.word for item in acts)
    reasons = _act_reasons(acts, word)
    because = reasons + told if done is word else told + reasons
    wishes = _unique(item.would_change for item in deciding)
    lacking = _lacking(items, acts) if word is Word.NOT_SHOWN else ""
    if lacking:
        because.insert(0, f"not shown: {lacking}")
    return PartWord(word, least_sure(item.confidence for item in deciding), _unique(because), wishes, lacking)


def _lacking(items: Sequence[Expectation], acts: Sequence[Operation]) -> str:
    """What is not shown of a part of which something was done; empty where nothing was, whatever was read."""
    modules = {item.item.partition(": ")[0] for item in items}
    missing = [item.item for item in items if item.word is Word.NOT_SHOWN]
    missing = [text.partition(": ")[2] if len(modules) == 1 else text.replace(": ", " ", 1) for text in missing]
    if all(act.outcome.word is Word.NOT_SHOWN for act in acts):
        return ""
    return ", ".join(missing) if len(missing) <= SHOWN_LACKING else f"{len(missing)} of {counted(len(items), 'item')}"


def _is_stored_wrong(act: Operation, failed: Sequence[Expectation]) -> bool:
    """The write did what it was told, and that was not what the sheet asks for."""
    is_done = act.kind is Kind.WRITE and act.outcome.word is Word.CONFIRMED
    return is_done and any(item.operation == act.number and item.word is Word.FAILED for item in failed)


def _all_of(writes: Sequence[Operation]) -> str:
    """``DUC: 4A12-4A13``."""
    numbers = said_identifiers(int(str(item.details["identifier"]), 16) for item in writes)
    return f"{', '.join(dict.fromkeys(item.label for item in writes))}: {numbers}"


def _act_reasons(acts: Sequence[Operation], word: Word) -> list[str]:
    """What the acts themselves say, first of all where it differs from what the sheet says."""
    done = worst(item.outcome.word for item in acts)
    if done is None:
        return []
    reason = _first_reason(acts, done)
    return [reason if done is word else f"the act itself is {SPOKEN[done]}: {reason}"]


def _item_text(item: Expectation) -> str:
    if item.note and item.found and item.asked.endswith(item.found):
        return f"{item.item}: {item.note}"  # the values are equal: what keeps it open is all there is to say
    found = f"found {item.found}" if item.found else "nothing found"
    note = f" ({item.note})" if item.note else ""
    return f"{item.item}: asked {item.asked}, {found}{note}"


def _first_reason(acts: Iterable[Operation], word: Word) -> str:
    """The reason of the first; of writes that have the same one, with all of them."""
    found = [item for item in acts if item.outcome.word is word and item.outcome.because]
    if not found:
        return ""
    first = found[0]
    alike = [item for item in found if item.kind is Kind.WRITE and _bare_reason(item) == _bare_reason(first)]
    if len(alike) < 2 or len({item.label for item in alike}) > 1:
        return _telling_first(first)[0]
    label, _, numbers = _all_of(alike).partition(": ")
    return f"{label}: {counted(len(alike), 'value')} {_bare_reason(first)}: {numbers}"


def _bare_reason(item: Operation) -> str:
    """Without the identifier in front."""
    return item.outcome.because[0].partition(": ")[2]


def _from_acts(acts: Sequence[Operation]) -> PartWord:
    word = worst(item.outcome.word for item in acts)
    if word is None:
        wish = "a recording in which it is done, if it was to be done"
        return PartWord(Word.NOT_SHOWN, Confidence.HIGH, ("no attempt at it is in the capture",), (wish,))
    deciding = [item for item in acts if item.outcome.word is word]
    because = []
    reason = _first_reason(deciding, word)
    if len(deciding) > 1 and reason not in deciding[0].outcome.because:
        because.append(reason)
    for item in deciding[:SHOWN_REASONS]:
        because += [f"{item.label}: {text}" for text in _telling_first(item)[: _reasons_for(item)]]
    if len({item.outcome.word for item in acts}) > 1:
        counts = Counter(item.outcome.word for item in acts)
        because.append(", ".join(f"{counts[one]} of {len(acts)} {SPOKEN[one]}" for one in counts))
    wishes = _unique(item.outcome.would_change for item in deciding if word is not Word.CONFIRMED)
    return PartWord(word, least_sure(item.outcome.confidence for item in deciding), _unique(because), wishes)


def _telling_first(item: Operation) -> Sequence[str]:
    """Of a download that is not proved, what is missing stands last; it is what people want to know first."""
    because = item.outcome.because
    is_open = item.kind is Kind.DOWNLOAD and item.outcome.word is Word.UNPROVEN
    return (*because[-1:], *because[:-1]) if is_open else because


def _reasons_for(item: Operation) -> int:
    """Downloads explain themselves in full; a write in a row of writes with one line."""
    return SHOWN_REASONS if item.kind is Kind.DOWNLOAD else 1


def _unique(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for text in texts if text))
