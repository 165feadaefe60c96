"""What one capture may say of an act in another one while both were running.

Two recordings of one job are not interleaved, although their clocks may both say a date: clocks of two loggers differ
by more than the time between an act and its proof, and the same channel name may stand for two places. A reading
that came before an act would then be taken for one behind it. So inside an overlap the order of two captures counts
for nothing: it neither proves an act of the other capture nor speaks against it. Behind the overlap it does.
Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence, Set
from dataclasses import replace

from analysis.exchanges import Place
from analysis.operations.attempts import attempts_of
from analysis.operations.model import Operation
from analysis.record import Record
from analysis.story import Start
from analysis.trust.shared_time import Borders, is_inside
from analysis.words import Confidence, Evidence, Outcome, Word, least_sure

#: Words that rest on what was seen behind the act.
DECIDED = (Word.CONFIRMED, Word.FAILED)
IN_BOTH = "what speaks for it is in a capture that ran at the same time: which came first is not known"
RESTART_IN_BOTH = (
    "reads as written, but the restart is in a capture that ran at the same time: whether it came behind the write is "
    "not known"
)
WISH = "a recording of the act with the reading behind it in one capture, or in one that begins after the other ended"


def weigh_overlap(operation: Operation, own: Set[int], borders: Borders) -> Operation:
    """The operation without what another capture says inside an overlap, and none surer than medium behind it.

    ``own`` are the captures that its steps stand in; its span may reach to its proof.
    """
    outcome = operation.outcome
    if outcome.word not in DECIDED or not borders:
        return operation
    kept = tuple(item for item in outcome.proof if not any(_is_inside(item, one, borders) for one in own))
    if outcome.proof and not kept:
        doubtful = Outcome(Word.UNPROVEN, outcome.confidence, (), (*outcome.because, IN_BOTH), WISH)
        return replace(operation, outcome=doubtful)
    if all((one, item.capture) not in borders for item in kept for one in own):
        return operation
    sure = least_sure([outcome.confidence, Confidence.MEDIUM])
    return replace(operation, outcome=replace(outcome, confidence=sure, proof=kept))


def weigh_overlaps(operations: Sequence[Operation], record: Record) -> list[Operation]:
    """All operations, weighed by the captures that ran at the same time."""
    borders = record.shared_time
    if not borders:
        return list(operations)
    starts = {story.link.key: story.starts for story in record.stories}
    goes_on = _goes_on_in(record)
    weighed = (weigh_overlap(item, {item.begin[0], *goes_on.get(item.begin, ())}, borders) for item in operations)
    return [_without_unsure_restart(item, starts.get(item.link.key, ()), borders) for item in weighed]


def _goes_on_in(record: Record) -> dict[Place, list[int]]:
    """By where a transfer begins, the captures that it goes on in."""
    attempts = (attempt for story in record.stories for attempt in attempts_of(story, record) if attempt.seams)
    return {attempt.begin: [seam.behind.capture for seam in attempt.seams] for attempt in attempts}


def _without_unsure_restart(operation: Operation, starts: Sequence[Start], borders: Borders) -> Operation:
    """A restart in a capture that ran at the same time may have been before the write that it is to prove."""
    outcome, own = operation.outcome, operation.begin[0]
    if outcome.word is not Word.CONFIRMED or not operation.details.get("after_power_cycle"):
        return operation
    if all((own, item.capture) not in borders for item in outcome.proof):
        return operation
    if any(start.place[0] == own and start.place > operation.begin for start in starts):
        return operation
    for item in outcome.proof:
        begin = max(operation.begin, (item.capture, borders.get((own, item.capture), 0)))
        if any(begin <= start.place < (item.capture, min(item.lines)) for start in starts):
            return operation
    doubtful = Outcome(Word.UNPROVEN, outcome.confidence, (), (RESTART_IN_BOTH,), WISH)
    return replace(operation, outcome=doubtful, details={**operation.details, "after_power_cycle": False})


def rests_on_overlap(shown: Sequence[Evidence], acts: Iterable[Operation], borders: Borders) -> bool:
    """Whether all that is shown stands in captures that ran while one of these acts was recorded in another."""
    captures = {act.begin[0] for act in acts}
    return bool(shown) and all(any(_is_inside(item, own, borders) for own in captures) for item in shown)


def _is_inside(proof: Evidence, own: int, borders: Borders) -> bool:
    return is_inside((proof.capture, min(proof.lines)), own, borders)
