"""Routines: started, asked for a result, stopped.

| word | when |
|---|---|
| confirmed | the last status is one that the names call good, and the start of this run is in the capture |
| unproven | accepted, and nothing says what the status means; or it reads blank, or memory was erased, since |
| failed | refused for good, or a status that the names call bad |
| interrupted | no final answer; still running at the end; a result that names ask for was not asked; stopped before |

A learn routine is one that names call so, or, without names, one started outside a programming session that no
programming follows on the module (what comes before programming is a pre-check).
Source: ISO 14229-1:2020, 14 (M).
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.operations.model import Kind, Operation, Part, evidence, span
from analysis.operations.routines import (
    RESULT,
    STOP,
    RoutineCall,
    RoutineRun,
    Status,
    erase_behind,
    read_call,
    runs_of,
    told_erase,
)
from analysis.readings import Reading
from analysis.record import Record
from analysis.story import Story
from analysis.words import Confidence, Outcome, Word
from canlog.names.tables import IdentifierKind
from canlog.services.traits import PROGRAMMING_SESSION

STEPS_OF_A_DOWNLOAD = ("erase", "check", "dependencies")


def find_routines(story: Story, record: Record) -> list[Operation]:
    """All routines run on a module: one operation a start, with what followed until the next start of it."""
    calls = [call for exchange in story.own if (call := read_call(exchange, story.label, record.names)) is not None]
    return [_operation(run, story, record) for run in runs_of(calls, story)]


def _operation(run: RoutineRun, story: Story, record: Record) -> Operation:
    first, last = run.calls[0], run.calls[-1]
    name = first.name
    outcome = _outcome(run)
    if first.kind == "learn" and outcome.word is Word.CONFIRMED:
        outcome = _weighed_against(_learned_since(run, story, record), outcome)
        outcome = _before_an_erase(run, outcome, story, record)
    return Operation(
        kind=Kind.ROUTINE,
        link=story.link,
        label=story.label,
        outcome=outcome,
        subject=f"routine {first.said} {first.option.hex()}",
        part=Part.LEARN if _is_learn(first, story) else None,
        details={
            "identifier": first.said,
            "name": name.name if name else None,
            "kind": first.kind or None,
            "option": first.option.hex().upper(),
            "status": last.status_bytes.hex().upper(),
            "meaning": last.text,
            "asked_for_result": any(call.control == RESULT for call in run.calls),
            "pending": sum(len(call.exchange.pendings) for call in run.calls),
        },
        **span([call.exchange for call in run.calls]),  # type: ignore[arg-type]
    )


def _is_learn(call: RoutineCall, story: Story) -> bool:
    if call.name is not None:
        return call.kind == "learn"
    if call.kind in STEPS_OF_A_DOWNLOAD or story.before(call.exchange).session == PROGRAMMING_SESSION:
        return False
    return not any(
        item.service == 0x34 or (item.service == 0x10 and item.asked[1:2] in (b"\x02", b"\x82"))
        for item in story.after(call.exchange.end)
    )


def _learned_since(run: RoutineRun, story: Story, record: Record) -> list[Reading]:
    """The last reading behind the run of each value that names say the module learns."""
    end = run.telling.exchange.end
    readings = [item for item in record.readings(story) if item.place > end and item.kind == IdentifierKind.LEARNED]
    return list({item.key: item for item in readings}.values())


def _weighed_against(learned: Sequence[Reading], outcome: Outcome) -> Outcome:
    """A learned value that reads blank speaks against it; names do not say which routine learns which value."""
    blank = [item for item in learned if _is_blank(item)]
    if not blank:
        return outcome
    shown = tuple(evidence(item.exchange, f"{item.title} reads blank since") for item in blank)
    because = (*outcome.because, *(item.text for item in shown))
    if len(blank) < len(learned):
        return Outcome(outcome.word, Confidence.MEDIUM, outcome.proof, because)
    wish = f"read {blank[0].number} after an ignition cycle and capture it; blank means that nothing is learned"
    return Outcome(Word.UNPROVEN, Confidence.MEDIUM, (), because, wish)


def _is_blank(reading: Reading) -> bool:
    return len(reading.raw) > 1 and not reading.raw.strip(b"\xff")


def _before_an_erase(run: RoutineRun, outcome: Outcome, story: Story, record: Record) -> Outcome:
    """What was learned may be gone behind an erase as trims may, unless a learned value was read behind it."""
    erase = erase_behind(run.telling.exchange.end, story, record.names)
    if outcome.word is not Word.CONFIRMED or erase is None:
        return outcome
    if any(item.place > erase.end and not _is_blank(item) for item in _learned_since(run, story, record)):
        return outcome
    text = f"then {told_erase(erase)}, which learned values survive in some modules and not in others"
    wish = f"look up whether {run.calls[0].said} has to be run behind programming, and capture that run"
    return Outcome(Word.UNPROVEN, Confidence.MEDIUM, (), (*outcome.because, text), wish)


#: How a wish begins where a run may still go on.
ASK_RESULT = "ask the result"


def _outcome(run: RoutineRun) -> Outcome:
    """The word of one run."""
    first = run.calls[0]
    title = f"routine {first.said}" + (f" ({first.name.name})" if first.name else "")
    stopped = next((call for call in run.calls if call.control == STOP and call.exchange.positive), None)
    last = run.telling
    proof = (evidence(last.exchange, f"{title}: {last.text}"),)
    again = f"run {title} again and capture its result"
    ask = f"{ASK_RESULT} of {title} before anything else, and capture it"
    if last.status is Status.GOOD:
        return Outcome(Word.CONFIRMED, Confidence.HIGH, proof, (f"{title}: {last.text}",))
    if last.status in (Status.BAD, Status.REFUSED):
        return Outcome(Word.FAILED, Confidence.HIGH, proof, (f"{title}: {last.text}",), again)
    if last.status is Status.OPEN:
        return Outcome(Word.INTERRUPTED, Confidence.HIGH, proof, (f"{title}: no final answer",), ask)
    if stopped is not None:
        return Outcome(Word.INTERRUPTED, Confidence.HIGH, proof, (f"{title}: stopped before its result",), again)
    if last.status is Status.RUNNING:
        return Outcome(Word.INTERRUPTED, Confidence.HIGH, proof, (f"{title}: still running when last asked",), ask)
    if first.name is not None and first.name.has_result and not any(call.control == RESULT for call in run.calls):
        return Outcome(Word.INTERRUPTED, Confidence.HIGH, proof, (f"{title}: {last.text}",), ask)
    wish = f"a names file that says what the status of {first.said} means"
    return Outcome(Word.UNPROVEN, Confidence.MEDIUM, (), (f"{title}: {last.text}",), wish)
