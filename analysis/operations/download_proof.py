"""Proof that a downloaded part is right: by the module, after the act, and not the act's own answer.

(a) a check routine whose good status the names know; or the dependency check answered 00 and the application
    answering after the reset (by custom: medium);
(b) an identification of that part that changed and was read after a power cycle, not from the boot loader; or one
    that is as before, with a fingerprint or date that the module changed itself (medium);
(c) a calibration verification number that changed, likewise;
(d) the memory read back equal;
(e) what the module says of its own state behind the return to normal mode (GMW3110; medium).

An identification belongs to a part if names say so, or if the part was the only one downloaded. Identifiers that
the tester itself wrote prove nothing about a download.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from analysis.exchanges import Exchange, Place
from analysis.modes import signs
from analysis.operations.attempts import Attempt
from analysis.operations.download_checks import checks_of, last_of_each, part_of, superseded_at
from analysis.operations.identity_changed_again import last_told, tells_something_new
from analysis.operations.memory import memory_reads, memory_written
from analysis.operations.model import Kind, evidence, in_order
from analysis.operations.programmed_state import state_behind
from analysis.operations.replaced import is_of_another_unit
from analysis.operations.routines import CHECK_DEPENDENCIES, Status
from analysis.readings import Reading
from analysis.record import Record
from analysis.story import Mode, Story
from analysis.words import Confidence, Evidence
from canlog.names.tables import PartName

#: Fingerprints and the date of programming: a module that sets them itself does so when a part was taken.
STAMPS = frozenset({0xF183, 0xF184, 0xF185, 0xF199})


@dataclass(frozen=True, slots=True)
class DownloadProof:
    """One proof, how much it is worth, and whether the module itself checked its memory."""

    evidence: tuple[Evidence, ...]
    confidence: Confidence
    text: str
    by_module: bool


def proofs_of(
    attempt: Attempt, attempts: Sequence[Attempt], story: Story, record: Record, *, only_part: bool
) -> list[DownloadProof]:
    """All proofs of an attempt that ended, the strongest kind first."""
    horizon = superseded_at(attempt, attempts)
    last_act = attempt.exchanges[-1]
    found = [
        *_by_check(attempt, attempts, story, record),
        *_by_programmed_state(attempt, attempts, story, record),
        *_by_identity(attempt, horizon, story, record, only_part=only_part),
        *_by_stamp(attempt, horizon, story, record, only_part=only_part),
        *_by_read_out(attempt, attempts, horizon, story),
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
    return in_order(act, exchange, record.clock_steps_of(act.link.channel), record.limits.clock_step_ns)


def _by_check(
    attempt: Attempt, attempts: Sequence[Attempt], story: Story, record: Record
) -> Iterator[DownloadProof]:  # fmt: skip
    calls = checks_of(attempt, attempts, story, record)
    last = last_of_each(calls)
    for call in last:
        if call.status is not Status.GOOD or call.kind not in ("check", "dependencies"):
            continue
        text = f"the module's own check {call.said} answered good ({call.text})"
        yield DownloadProof((evidence(call.exchange, text),), Confidence.HIGH, text, by_module=True)
    custom = [call for call in calls if call.identifier == CHECK_DEPENDENCIES and call.status is Status.UNKNOWN]
    for call in custom[-1:]:
        if call.status_bytes[:1] != b"\0":
            continue
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


def _by_programmed_state(
    attempt: Attempt, attempts: Sequence[Attempt], story: Story, record: Record
) -> Iterator[DownloadProof]:
    """The state is that of the parts: it says nothing of a helper program that ran in RAM before."""
    part = part_of(attempt, story, record)
    if attempt.runs_itself or (part is not None and part.driver):
        return
    said = state_behind(max(item.end for item in attempts), story)
    if said is not None and said.is_good:
        text = f"the module says of its own state: {said.text}"
        yield DownloadProof((evidence(said.exchange, text),), Confidence.MEDIUM, text, by_module=True)


def _by_identity(
    attempt: Attempt, horizon: Place | None, story: Story, record: Record, *, only_part: bool
) -> Iterator[DownloadProof]:
    start = story.normal_after(attempt.end)
    if start is None:
        return
    part = part_of(attempt, story, record)
    later = [
        item
        for item in record.readings(story)
        if item.place > start
        and (horizon is None or item.place < horizon)
        and _belongs(item, part, only_part=only_part)
        and not story.is_boot_loader(item.exchange)
        and not is_of_another_unit(item, attempt.exchanges[0], story, record)
    ]
    for reading in last_told(later):
        before = _last_before(reading, attempt, story, record)
        if before is None or not tells_something_new(before.raw, reading.raw):
            continue
        if _is_the_loaders(reading, attempt.begin, story, record):
            continue
        text = f"{reading.title} was read after the restart and has changed"
        named = part is not None and reading.part == part.name
        yield DownloadProof(
            (evidence(reading.exchange, text),),
            Confidence.HIGH if named or reading.has_standard_meaning else Confidence.MEDIUM,
            text,
            by_module=False,
        )


def _is_the_loaders(reading: Reading, place: Place, story: Story, record: Record) -> bool:
    """The boot loader said the same of itself before anything was carried: it may be the one that speaks."""
    return any(
        item.key == reading.key
        and item.raw == reading.raw
        and item.place < place
        and story.is_boot_loader(item.exchange)
        for item in record.readings(story)
    )


def _by_stamp(
    attempt: Attempt, horizon: Place | None, story: Story, record: Record, *, only_part: bool
) -> Iterator[DownloadProof]:
    """The same identity as before, and the module itself has changed its fingerprint or date of programming."""
    start = story.start_after(attempt.end)
    if start is None or not only_part:
        return
    later = [
        item
        for item in record.readings(story)
        if item.place > start.place
        and (horizon is None or item.place < horizon)
        and not item.written_by_tester
        and not story.is_boot_loader(item.exchange)
        and not is_of_another_unit(item, attempt.exchanges[0], story, record)
    ]
    later = last_told(later)
    before = {item.place: _last_before(item, attempt, story, record) for item in later}
    same = [item for item in later if item.tells_software and (was := before[item.place]) and was.raw == item.raw]
    stamps = [
        item for item in later if item.identifier in STAMPS and (was := before[item.place]) and was.raw != item.raw
    ]
    if same and stamps:
        text = f"{stamps[-1].title} was changed by the module itself, and {same[-1].title} is as before"
        parts = (evidence(stamps[-1].exchange, text), evidence(same[-1].exchange, text))
        yield DownloadProof(parts, Confidence.MEDIUM, text, by_module=False)


def _belongs(reading: Reading, part: PartName | None, *, only_part: bool) -> bool:
    if reading.written_by_tester:
        return False
    if reading.part:
        return part is not None and reading.part == part.name
    return only_part and reading.tells_software


def _last_before(reading: Reading, attempt: Attempt, story: Story, record: Record) -> Reading | None:
    earlier = [
        item
        for item in record.readings(story)
        if item.key == reading.key
        and item.place < attempt.begin
        and item.exchange.whole
        and not story.is_boot_loader(item.exchange)
        and not is_of_another_unit(item, attempt.exchanges[0], story, record)
    ]
    return earlier[-1] if earlier else None


class _Piece(NamedTuple):
    """Memory that was read: where, what, and by which exchanges."""

    address: int
    data: bytes
    exchanges: tuple[Exchange, ...]

    @property
    def memory(self) -> range:
        """Its addresses."""
        return range(self.address, self.address + len(self.data))


def _by_read_out(
    attempt: Attempt, attempts: Sequence[Attempt], horizon: Place | None, story: Story
) -> Iterator[DownloadProof]:
    """The bytes read back with ReadMemoryByAddress or an upload equal the bytes written."""
    if attempt.kind is not Kind.DOWNLOAD or attempt.address is None or attempt.transformed:
        return
    pieces = [
        piece for piece in _read_out(attempt, attempts, story) if horizon is None or piece.exchanges[0].begin < horizon
    ]
    if not pieces:
        return  # before the bytes of a large memory are laid side by side
    written = b"".join(attempt.account.data)
    read = bytearray(len(written))
    seen = bytearray(len(written))
    used: list[Exchange] = []
    for address, data, exchanges in pieces:
        offset = address - attempt.address
        if offset >= 0 and offset + len(data) <= len(written):
            read[offset : offset + len(data)] = data
            seen[offset : offset + len(data)] = b"\1" * len(data)
            used += exchanges
    if written and all(seen) and bytes(read) == written:
        text = "the memory was read back, byte for byte equal"
        parts = tuple(evidence(exchange, text) for exchange in used)
        yield DownloadProof(parts, Confidence.HIGH, text, by_module=False)


def memory_told_otherwise(attempt: Attempt, attempts: Sequence[Attempt], story: Story) -> Evidence | None:
    """Behind the transfer, before anything else was carried there, the memory read or was made another one."""
    if attempt.kind is not Kind.DOWNLOAD or attempt.address is None or attempt.transformed:
        return None
    if attempt.account.problems or not attempt.account.seen_whole:
        return None  # which byte lies where is not known
    said = [(piece, "reads differently from what was carried") for piece in _read_out(attempt, attempts, story)]
    said += [
        (_Piece(piece.address, piece.data, (piece.exchange,)), "was written by address since, with other bytes")
        for piece in memory_written(story.after(attempt.end))
    ]
    written = b"".join(attempt.account.data) if said else b""
    for piece, what in sorted(said, key=lambda one: one[0].exchanges[0].begin):
        if _is_as_carried(piece, attempt.address, written):
            continue
        others = (item for item in attempts if item.kind is not Kind.UPLOAD)
        before = (item.memory for item in others if attempt.end < item.begin < piece.exchanges[0].begin)
        if not any(one.start < piece.memory.stop and piece.memory.start < one.stop for one in before):
            return evidence(piece.exchanges[-1], f"memory at {piece.address:08X} {what}")
    return None


def _is_as_carried(piece: _Piece, address: int, written: bytes) -> bool:
    """No byte of it is another one; slices, because a whole memory may have been read."""
    first, last = max(piece.address, address), min(piece.memory.stop, address + len(written))
    return (
        first >= last
        or piece.data[first - piece.address : last - piece.address] == (written[first - address : last - address])
    )


def _read_out(attempt: Attempt, attempts: Sequence[Attempt], story: Story) -> list[_Piece]:
    return [*_read_by_address(attempt, story), *_uploaded(attempt, attempts)]


def _read_by_address(attempt: Attempt, story: Story) -> Iterator[_Piece]:
    for piece in memory_reads(story.after(attempt.end)):
        yield _Piece(piece.address, piece.data, (piece.exchange,))


def _uploaded(attempt: Attempt, attempts: Sequence[Attempt]) -> Iterator[_Piece]:
    for item in attempts:
        if item.kind is not Kind.UPLOAD or item.begin < attempt.end or item.address is None or item.transformed:
            continue
        account = item.account
        if item.ended is not None and not account.problems and account.seen_whole and account.unanswered is None:
            yield _Piece(item.address, b"".join(account.data), tuple(item.blocks))
