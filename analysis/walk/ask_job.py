"""Questions on the job: blocks and bytes, what comes next, and what would be proof."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from analysis.operations.model import Kind, Operation
from analysis.operations.routines import Status, read_call
from analysis.report.wording import seconds
from analysis.walk.question import COMPUTE, JUDGE, READ_OFF, Question
from analysis.walk.steps import Step, Walk
from analysis.words import Word
from canlog.counting import counted
from canlog.services.dialects import UDS
from canlog.services.traits import Act, item_read, item_written, location_of
from canlog.services.transfer import BLOCK_OVERHEAD

#: A copy of fewer bytes may be chance.
LEAST_COPY = 4
NS = 1_000_000_000
_SAID: Final[Mapping[Word, str]] = {
    Word.CONFIRMED: "confirmed", Word.UNPROVEN: "completed, not proven", Word.FAILED: "failed",
    Word.INTERRUPTED: "interrupted", Word.NOT_SHOWN: "not shown",
}  # fmt: skip
_PROVED_LATER: Final = (Kind.DOWNLOAD, Kind.WRITE, Kind.CLEAR)


def blocks_due(walk: Walk, step: Step) -> Iterator[Question]:
    """How many blocks a download takes. Source: ISO 14229-1:2020, 15.2 (M)."""
    first = step.first
    longest = first.answer.get("max_number_of_block_length") if first.positive else None
    place = location_of(first.asked, first.dialect) if first.act is Act.DOWNLOAD else None
    if first.dialect != UDS or place is None or not place.size or not isinstance(longest, int):
        return
    room = longest - BLOCK_OVERHEAD
    if room <= 0:
        return
    due = -(-place.size // room)
    yield Question(
        "blocks-due", COMPUTE,
        f"{place.size:,} bytes are to come, and a block may have {longest:,} bytes. How many blocks are due?",
        f"{counted(due, 'block')}", f"{longest} − {BLOCK_OVERHEAD} = {room} data bytes in a block, because service and "
        f"counter count as well; {place.size:,} / {room} rounded up", first.lines, str(due),
    )  # fmt: skip


def next_counter(walk: Walk, step: Step) -> Iterator[Question]:
    """What number comes behind a block. Source: ISO 14229-1:2020, 15.4 (M)."""
    if step.act is not Act.BLOCK or step.first.dialect != UDS:
        return
    numbers = [one.asked[1] for one in step.exchanges if len(one.asked) > 1]
    if not numbers:
        return
    at = 0xFF if 0xFF in numbers[:-1] else numbers[-1]
    due = (at + 1) & 0xFF
    yield Question(
        "next-counter", COMPUTE, f"A block bears the number {at:02X}. Which number must the next one bear?",
        f"{due:02X}", "the counter goes up by one and runs from FF to 00", step.lines, f"{due:02X}",
    )  # fmt: skip


def share_done(walk: Walk, step: Step) -> Iterator[Question]:
    """What part of the memory is carried, and how fast it went."""
    operation = _operation(walk, step, Kind.DOWNLOAD)
    if operation is None or step.act is not Act.BLOCK:
        return
    asked, rate = operation.details["size_asked"], operation.details["rate_bytes_per_s"]
    carried = operation.details["size_carried"]
    if isinstance(asked, int) and asked and isinstance(carried, int):
        yield Question(
            "share-done", COMPUTE, f"{asked:,} bytes were asked for. How many were carried in the end, in percent?",
            f"{carried:,} bytes, {100 * carried / asked:.1f} %", "only blocks that were answered count",
            step.lines, f"{carried} {asked}",
        )  # fmt: skip
    blocks = [one for one in walk.report.record.exchanges if one.number in operation.exchanges and one.act is Act.BLOCK]
    if isinstance(rate, int) and rate and isinstance(carried, int):
        took = seconds(max(one.end_ns for one in blocks) - blocks[0].begin_ns)
        yield Question(
            "rate", COMPUTE, f"{carried:,} bytes were carried in {took} s. How many bytes a second, within 10 %?",
            f"about {rate:,} bytes/s", "from the first frame of the first block to the last answer of this transfer",
            step.lines, str(rate),
        )  # fmt: skip


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
    operation = next((found for kind in _PROVED_LATER if (found := _operation(walk, step, kind)) is not None), None)
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
        step.lines, operation.outcome.word.value,
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


def _operation(walk: Walk, step: Step, kind: Kind) -> Operation | None:
    number = step.exchanges[-1].number
    return next((one for one in walk.report.operations if one.kind is kind and number in one.exchanges), None)
