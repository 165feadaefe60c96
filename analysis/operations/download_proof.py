"""Proof that a downloaded part is right: by the module, after the act, and not the act's own answer.

(a) a check routine whose good status the names know; or the dependency check answered 00 and the application
    answering after the reset (by custom: medium);
(b) an identification of that part that changed and was read after a power cycle;
(c) a calibration verification number that changed, likewise;
(d) the memory read back equal.

An identification belongs to a part if names say so, or if the part was the only one downloaded. Identifiers that
the tester itself wrote prove nothing about a download.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analysis.exchanges import Exchange, Place
from analysis.modes import signs
from analysis.operations.attempts import Attempt
from analysis.operations.model import Kind, evidence, in_order
from analysis.operations.routines import CHECK_DEPENDENCIES, START, RoutineCall, Status, read_call
from analysis.readings import Reading
from analysis.record import Record
from analysis.story import PROGRAMMING_SESSION, Mode, Story
from analysis.words import Confidence, Evidence
from canlog.names.tables import PartName


@dataclass(frozen=True, slots=True)
class DownloadProof:
    """One proof, how much it is worth, and whether the module itself checked its memory."""

    evidence: tuple[Evidence, ...]
    confidence: Confidence
    text: str
    by_module: bool


def part_of(attempt: Attempt, story: Story, record: Record) -> PartName | None:
    """The named part that an attempt's address belongs to."""
    if attempt.address is None:
        return None
    return record.names.part_at(story.label, attempt.address)


def checks_of(attempt: Attempt, attempts: Sequence[Attempt], story: Story, record: Record) -> list[RoutineCall]:
    """Check routines that concern an attempt, in order: its own, and those of all parts together."""
    mine = part_of(attempt, story, record)
    horizon = _superseded_at(attempt, attempts)
    found = []
    for exchange in story.after(attempt.end):
        if horizon is not None and exchange.begin >= horizon:
            break
        call = read_call(exchange, story.label, record.names)
        if call is None or call.kind in ("erase", "learn"):
            continue
        between = [item for item in attempts if attempt.end < item.begin < exchange.begin]
        if call.kind == "dependencies" or _names_block(call, mine, story, record, between):
            found.append(call)
    return found


def _names_block(
    call: RoutineCall, mine: PartName | None, story: Story, record: Record, between: Sequence[Attempt]
) -> bool:
    """The check is about this part: its option names the block, or it is the next thing after it."""
    blocks = {part.block: part for part in record.names.parts(story.label) if part.block}
    asked = next((part for block, part in blocks.items() if block and call.option.startswith(block)), None)
    if asked is not None and mine is not None:
        return asked.name == mine.name
    return not between


def _superseded_at(attempt: Attempt, attempts: Sequence[Attempt]) -> Place | None:
    return next((item.begin for item in attempts if item.begin > attempt.end and item.same_thing(attempt)), None)


def proofs_of(
    attempt: Attempt, attempts: Sequence[Attempt], story: Story, record: Record, *, only_part: bool
) -> list[DownloadProof]:
    """All proofs of an attempt that ended, the strongest kind first."""
    horizon = _superseded_at(attempt, attempts)
    last_act = attempt.exchanges[-1]
    found = [
        *_by_check(attempt, attempts, story, record),
        *_by_identity(attempt, horizon, story, record, only_part=only_part),
        *_by_read_out(attempt, horizon, story),
    ]
    return [
        proof
        for proof in found
        if all(_behind(last_act, item, record) for item in proof.evidence)
    ]  # fmt: skip


def _behind(act: Exchange, proof: Evidence, record: Record) -> bool:
    exchange = record.exchange_at((proof.capture, proof.lines[0]))
    if exchange is None:
        return (proof.capture, proof.lines[0]) > act.end
    return in_order(act, exchange, record.clock_steps, record.limits.clock_step_ns)


def _by_check(
    attempt: Attempt, attempts: Sequence[Attempt], story: Story, record: Record
) -> Iterator[DownloadProof]:  # fmt: skip
    calls = checks_of(attempt, attempts, story, record)
    last = {call.identifier: call for call in calls}.values()
    for call in last:
        if call.status is not Status.GOOD or call.kind not in ("check", "dependencies"):
            continue
        text = f"the module's own check {call.identifier:04X} answered good ({call.text})"
        yield DownloadProof((evidence(call.exchange, text),), Confidence.HIGH, text, by_module=True)
    custom = [
        call
        for call in calls
        if call.identifier == CHECK_DEPENDENCIES
        and call.control == START
        and call.status is Status.UNKNOWN
        and call.status_bytes[:1] == b"\0"
    ]
    for call in custom[-1:]:
        answering = application_after_start(story, call.exchange.end)
        if answering is not None:
            text = "the check that the parts fit answered 00, by custom the good status"
            parts = (evidence(call.exchange, text), answering)
            yield DownloadProof(parts, Confidence.MEDIUM, f"{text}, and {answering.text}", by_module=True)


def application_after_start(story: Story, place: Place) -> Evidence | None:
    """The first strong sign of the application behind the first start behind a place."""
    start = story.start_after(place)
    if start is None:
        return None
    sign = next((item for item in signs(story, start.place) if item.mode is Mode.APPLICATION and item.strong), None)
    if sign is None and start.mode is Mode.APPLICATION:
        return start.evidence
    if sign is None:
        return None
    return Evidence(sign.evidence.capture, sign.evidence.lines, f"after the restart the module {_verb(sign.evidence)}")


def _verb(item: Evidence) -> str:
    return item.text if not item.text.startswith("start message") else f"sent its {item.text}"


def _by_identity(
    attempt: Attempt, horizon: Place | None, story: Story, record: Record, *, only_part: bool
) -> Iterator[DownloadProof]:
    start = story.start_after(attempt.end)
    if start is None:
        return
    part = part_of(attempt, story, record)
    for reading in record.readings(story):
        if reading.place <= start.place or (horizon is not None and reading.place >= horizon):
            continue
        if not _belongs(reading, part, story, record, only_part=only_part):
            continue
        if story.before(reading.exchange).session == PROGRAMMING_SESSION:
            continue
        before = _last_before(reading, attempt.begin, story, record)
        if before is None or before.raw == reading.raw or not any(reading.raw.strip(b"\0\xff ")):
            continue
        text = f"{reading.title} was read after the restart and has changed"
        named = part is not None and reading.part == part.name
        yield DownloadProof(
            (evidence(reading.exchange, text),),
            Confidence.HIGH if named or reading.has_standard_meaning else Confidence.MEDIUM,
            text,
            by_module=False,
        )


def _belongs(
    reading: Reading, part: PartName | None, story: Story, record: Record, *, only_part: bool
) -> bool:  # fmt: skip
    if reading.written_by_tester:
        return False
    if reading.part:
        return part is not None and reading.part == part.name
    return only_part and reading.tells_software


def _last_before(reading: Reading, place: Place, story: Story, record: Record) -> Reading | None:
    earlier = [
        item
        for item in record.readings(story)
        if item.key == reading.key and item.place < place and item.exchange.whole
    ]
    return earlier[-1] if earlier else None


def _by_read_out(attempt: Attempt, horizon: Place | None, story: Story) -> Iterator[DownloadProof]:
    """The bytes read back with ReadMemoryByAddress or an upload equal the bytes written."""
    if attempt.kind is not Kind.DOWNLOAD or attempt.address is None or attempt.transformed:
        return
    written = b"".join(attempt.account.data)
    read = bytearray(len(written))
    seen = bytearray(len(written))
    used: list[Exchange] = []
    for exchange in story.after(attempt.end):
        if horizon is not None and exchange.begin >= horizon:
            break
        if exchange.service != 0x23 or not exchange.positive or not exchange.whole:
            continue
        address = exchange.ask.get("memory_address")
        if not isinstance(address, int):
            continue
        offset = address - attempt.address
        data = exchange.answered[1:]
        if offset >= 0 and offset + len(data) <= len(written):
            read[offset : offset + len(data)] = data
            seen[offset : offset + len(data)] = b"\1" * len(data)
            used.append(exchange)
    if written and all(seen) and bytes(read) == written:
        text = "the memory was read back, byte for byte equal"
        parts = tuple(evidence(exchange, text) for exchange in used)
        yield DownloadProof(parts, Confidence.HIGH, text, by_module=False)
