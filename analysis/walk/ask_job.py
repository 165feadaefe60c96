"""Questions on the job: what comes next, and what would be proof."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from analysis.operations.model import Kind
from analysis.operations.routines import Status, read_call
from analysis.walk.ask_transfer import operation_of
from analysis.walk.question import JUDGE, READ_OFF, Question
from analysis.walk.steps import Step, Walk
from analysis.words import Word
from canlog.services.traits import Act, item_read, item_written

#: A copy of fewer bytes may be chance.
LEAST_COPY = 4
NS = 1_000_000_000
_SAID: Final[Mapping[Word, str]] = {
    Word.CONFIRMED: "confirmed", Word.UNPROVEN: "completed, not proven", Word.FAILED: "failed",
    Word.INTERRUPTED: "interrupted", Word.NOT_SHOWN: "not shown",
}  # fmt: skip
_PROVED_LATER: Final = (Kind.DOWNLOAD, Kind.WRITE, Kind.CLEAR)


def what_comes_next(walk: Walk, step: Step) -> Iterator[Question]:
    """The step behind this one at the same module."""
    found = next(walk.behind(step, step.first), None)
    if found is not None and step.act in (Act.UNLOCK, Act.DOWNLOAD, Act.EXIT, Act.RESET, Act.SESSION, Act.CLEAR):
        later, exchange = found
        asked = walk.tell(exchange).partition(": ")[0]
        yield Question(
            "what-next", JUDGE, "What do you expect to be asked of this module next?",
            f"step {later.number}: {asked}", "seen in this recording; makers differ in the order",
            later.lines, str(later.number),
        )  # fmt: skip


def what_proves(walk: Walk, step: Step) -> Iterator[Question]:
    """Whether the positive answer is enough, and what proof came."""
    operation = next((found for kind in _PROVED_LATER if (found := operation_of(walk, step, kind)) is not None), None)
    if operation is None or not step.first.positive or step.act not in (Act.WRITE, Act.EXIT, Act.CLEAR):
        return
    if operation.outcome.proof:
        proof = operation.outcome.proof[0]
        where = next((f"step {one.number}" for one in walk.steps if one.holds(proof.capture, proof.lines[-1])), "")
        answer = f"it is proved later{f' ({where})' if where else ''}: {proof.text}"
    else:
        answer = f"nothing in this recording proves it; it is {_SAID[operation.outcome.word]}"
    yield Question(
        "what-proves", JUDGE, "The answer is positive. Is that proof? What would prove it, and is it recorded here?",
        f"no proof by itself; {answer}", "an answer says accepted; only the module's later word shows what it holds",
        step.lines, operation.outcome.word.value, "yes: positive is positive",
    )  # fmt: skip


def status_proof(walk: Walk, step: Step) -> Iterator[Question]:
    """Whether a routine's status settles anything. Source: ISO 14229-1:2020, 14.2 (M): the status is the maker's."""
    call = read_call(step.first, walk.labels.get(step.first.link.key, ""), walk.report.record.names)
    if call is None or not call.status_bytes:
        return
    status = call.status_bytes.hex(" ").upper()
    answer = {
        Status.GOOD: f"yes: the names given say that it means {call.text}",
        Status.BAD: f"it is proof of the contrary: the names given say {call.text}",
        Status.RUNNING: "not yet: it is still running",
    }.get(call.status, "no: nothing given here explains it, and the standard leaves it to the maker")
    yield Question(
        "status-proof", JUDGE, f"The routine answers with status {status}. Is that proof of a good end?",
        answer, "the status byte has a meaning only by the maker's word", step.lines, call.status.value,
        "00 always means good" if call.status is Status.UNKNOWN and not any(call.status_bytes) else "",
    )  # fmt: skip


def copied_from(walk: Walk, step: Step) -> Iterator[Question]:
    """Where the bytes that are written were read before."""
    item = item_written(step.first.asked, step.first.dialect)
    if item is None or len(item.data) < LEAST_COPY:
        return
    for earlier in reversed(walk.steps[: step.number - 1]):
        read = item_read(earlier.first.answered, earlier.first.dialect) if earlier.first.positive else None
        if read is not None and read.data == item.data:
            yield Question(
                "copied-from", READ_OFF, "These bytes were seen before. In which step, and from which module?",
                f"step {earlier.number}: {earlier.who}", "equal byte for byte", earlier.lines, str(earlier.number),
            )  # fmt: skip
            return
