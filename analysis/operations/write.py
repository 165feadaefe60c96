"""Writes by identifier, and whether the value is really in the module.

| word | when |
|---|---|
| confirmed | answered positively, and a later read of the same identifier by the same module is equal: read after a restart if one followed (high), else in the same power cycle (medium) |
| unproven | answered positively, and not read since, or only before the restart or the erase that followed, or the same module held the value before (one taken out in between, by its serial number, is another); or it says another VIN elsewhere since; or its answer is missing in the record, and it was read as written since |
| failed | refused for good, or the last read differs from what was written |
| interrupted | no final answer, or the request is not whole |

The positive answer does not repeat the data: it never proves the value (ISO 14229-1:2020, 11.7 (M)).
"""  # noqa: E501

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from analysis.exchanges import Answer, Exchange, Place
from analysis.operations.model import Kind, Operation, Part, evidence, span
from analysis.operations.read_back import (
    NOTHING,
    ReadBack,
    Written,
    are_behind,
    judge_read_back,
    not_whole,
    refused,
    unanswered,
)
from analysis.operations.refused_readings import last_in_vain
from analysis.operations.replaced import is_of_another_unit, is_of_module_before
from analysis.readings import Reading, is_vin_by_value, said_identifiers, title_of
from analysis.record import Record
from analysis.story import Story
from analysis.vins import tells_vin, vin_in
from analysis.words import Confidence, Outcome, Word
from canlog.names.tables import IdentifierName
from canlog.names.vin import check_vin
from canlog.services.identifiers import identifier_kind, identifier_text
from canlog.services.traits import Act, item_written, traits_of

PARTS = {"vin": Part.VIN, "fingerprint": None, "identification": None}

#: Said of a write whose answer only the record lacks.
ANSWER_MISSING = "its answer is missing; it reads as written"


def find_writes(story: Story, record: Record) -> list[Operation]:
    """All writes by identifier to a module, in order; superseded ones included."""
    writes = [
        exchange for exchange in story.own if exchange.act is Act.WRITE and identifier_written(exchange) is not None
    ]
    return [_Judge(exchange, writes, story, record).operation() for exchange in writes]


@dataclass
class _Judge:
    exchange: Exchange
    writes: Sequence[Exchange]
    story: Story
    record: Record

    @property
    def identifier(self) -> int:
        return identifier_written(self.exchange) or 0

    @property
    def title(self) -> str:
        return title_of(self.identifier, self.name, self.exchange.dialect, self.exchange.service, self.data)

    @property
    def name(self) -> IdentifierName | None:
        return self.record.names.identifier(self.story.label, self.identifier)

    @property
    def data(self) -> bytes:
        item = item_written(self.exchange.asked, self.exchange.dialect)
        return item.data if item is not None else b""

    @property
    def kind(self) -> str:
        if self.name is not None:
            return str(self.name.kind)
        dialect, service = self.exchange.dialect, self.exchange.service
        if is_vin_by_value(self.identifier, self.data, dialect, service):
            return "vin"
        return identifier_kind(self.identifier, dialect, service)

    def _is_request_whole(self) -> bool:
        return self.exchange.request is not None and self.exchange.request.complete

    def operation(self) -> Operation:
        before, reads = self._reads()
        proof = reads[-1] if reads else None
        outcome = self._outcome(before, reads)
        members = [self.exchange, *([proof.exchange] if proof else [])]
        start = self.story.start_after(self.exchange.end)
        after = [item for item in reads if start is not None and item.place > start.place]
        source = self._source()
        details: dict[str, object] = {
            "identifier": identifier_text(self.identifier),
            "name": self.title.partition(" (")[2].removesuffix(")") or None,
            "kind": self.kind,
            "before": before.raw.hex().upper() if before else None,
            "written": self.data.hex().upper() if self._is_request_whole() else None,
            "read_back": proof.raw.hex().upper() if proof else None,
            "after_power_cycle": bool(after),
            "source_link": source.exchange.link.key if source else None,
        }
        return replace(
            Operation(
                kind=Kind.WRITE,
                link=self.story.link,
                label=self.story.label,
                outcome=outcome,
                subject=f"write {identifier_text(self.identifier)}",
                part=PARTS.get(self.kind, Part.TRIMS),
                details=details,
                **span(members),  # type: ignore[arg-type]
            ),
        )

    def _reads(self) -> tuple[Reading | None, list[Reading]]:
        """The last read before the write, and all between it and the next accepted write of the same identifier."""
        same = [item for item in self.record.readings(self.story) if self._reads_it(item)]
        horizon = self._horizon
        earlier = [
            item
            for item in same
            if item.place < self.exchange.begin
            and not is_of_module_before(item, self.exchange.capture, self.story, self.record)
        ]
        later = [
            item
            for item in same
            if item.place > self.exchange.begin
            and (horizon is None or item.place < horizon)
            and not is_of_another_unit(item, self.exchange, self.story, self.record)
        ]
        return (earlier[-1] if earlier else None), later

    @cached_property
    def _horizon(self) -> Place | None:
        """Where the next write of the same identifier begins that may have been accepted."""
        later = (
            item.begin
            for item in self.writes
            if item.begin > self.exchange.begin
            and identifier_written(item) == self.identifier
            and item.outcome is not Answer.NEGATIVE
        )
        return next(later, None)

    def _until_written_again(self) -> Iterator[Exchange]:
        return (one for one in self.story.after(self.exchange.end) if not self._horizon or one.begin < self._horizon)

    def _reads_it(self, reading: Reading) -> bool:
        """A reading of what was written.

        KWP2000: local data written with 3B is read with 21. That 1A of the same number tells the same is only
        believed of the VIN, and of a number whose identification has once told what was written.
        """
        if reading.identifier != self.identifier:
            return False
        return reading.key[0] == 0 or self.kind == "vin" or self._has_identification_told_it

    @cached_property
    def _has_identification_told_it(self) -> bool:
        return any(
            item.key[0] and item.identifier == self.identifier and self._equal(item.raw)
            for item in self.record.readings(self.story)
            if item.place > self.exchange.begin
        )

    def _outcome(self, before: Reading | None, reads: Sequence[Reading]) -> Outcome:
        exchange = self.exchange
        title = self.title
        if exchange.outcome is Answer.NEGATIVE:
            return refused(title, exchange)
        if not exchange.positive:
            if (judged := self._as_it_reads(title, before, reads)) is not None:
                return judged
            return unanswered(title, exchange, f"write {title} again, read it after an ignition cycle and capture it")
        if not self._is_request_whole():
            return not_whole(title, self._wish())
        return self._judge_reads(title, before, reads)

    def _as_it_reads(self, title: str, before: Reading | None, reads: Sequence[Reading]) -> Outcome | None:
        """The word of a write whose answer only the record lacks, where the value was read as written since."""
        is_missing = any(step.exchange.number == self.exchange.number for step in self.record.missing_steps)
        behind = are_behind(self.exchange, self._read_backs(reads), self.record)
        if not is_missing or not self._is_request_whole() or not behind or not behind[-1].is_equal:
            return None
        judged = self._judge_reads(title, before, reads)
        because = (f"{title}: {ANSWER_MISSING}", *judged.because)
        wish = f"{NOTHING}: the value reads as written" if judged.word is Word.CONFIRMED else self._wish()
        return Outcome(Word.UNPROVEN, Confidence.MEDIUM, (), because, wish)

    def _wish(self) -> str:
        return read_again([self.identifier])

    def _judge_reads(self, title: str, before: Reading | None, reads: Sequence[Reading]) -> Outcome:
        written = Written(
            title=title,
            exchange=self.exchange,
            was_there_before=before is not None and self._equal(before.raw),
            stored_at_power_down=self.name is not None and self.name.stored_at_power_down,
            wish=self._wish(),
            in_vain=last_in_vain({self.identifier}, self._until_written_again()),
        )
        judged = judge_read_back(written, self._read_backs(reads), self.story, self.record)
        other = self._other_vin() if self.kind == "vin" and judged.word is Word.CONFIRMED else None
        if other is None:
            return judged
        where = evidence(other.exchange, "says").where
        text = f"{judged.because[0]}, but {other.title} says {vin_in(other).text} since ({where})"
        both = f"{other.number} of {self.story.label} with {identifier_text(self.identifier)}"
        wish = f"compare {both} after an ignition cycle and capture both"
        return Outcome(Word.UNPROVEN, Confidence.MEDIUM, (), (text,), wish)

    def _other_vin(self) -> Reading | None:
        """What the module says of its VIN elsewhere behind the write and its last restart, where that is another one.

        It may keep several, and what emission diagnostics tell is the one that an inspection reads.
        """
        written = check_vin(self.data)
        if not written.well_formed:
            return None
        told = {item.key: item for item in self.record.readings(self.story) if tells_vin(item) and self._is_since(item)}
        said = (item for item in told.values() if not self._reads_it(item) and vin_in(item).well_formed)
        return next((item for item in said if vin_in(item).text != written.text), None)

    def _is_since(self, reading: Reading) -> bool:
        is_behind = reading.place > self.exchange.end and (self._horizon is None or reading.place < self._horizon)
        return (
            is_behind
            and self.story.start_after(reading.place) is None
            and not is_of_another_unit(reading, self.exchange, self.story, self.record)
        )

    def _read_backs(self, reads: Sequence[Reading]) -> list[ReadBack]:
        return [ReadBack(item.exchange, self._equal(item.raw)) for item in reads]

    def _equal(self, raw: bytes) -> bool:
        return raw == self.data or (self.name is not None and self.name.equal_ignoring(raw, self.data))

    def _source(self) -> Reading | None:
        """Where the same bytes were read from another module before: a copy.

        Equal bytes of one value only (blank memory) and VINs say nothing.
        """
        if len(self.data) < self.record.limits.copy_min_bytes or len(set(self.data)) < 2 or self.kind == "vin":
            return None
        sources = [
            reading
            for story in self.record.stories
            if story.link.key != self.story.link.key
            for reading in self.record.readings(story)
            if reading.raw == self.data and reading.place < self.exchange.begin
        ]
        return sources[-1] if sources else None


def read_again(identifiers: Iterable[int]) -> str:
    """What proves writes: ``read 4A10-4A16, 4C20 after an ignition cycle and capture it``."""
    return f"read {said_identifiers(identifiers)} after an ignition cycle and capture it"


def identifier_written(exchange: Exchange) -> int | None:
    """The identifier of a write, from the answer where the request is not in the capture; None when neither tells."""
    width = traits_of(exchange.dialect).writes.get(exchange.service, 0)
    source = exchange.told[1 : 1 + width]
    return int.from_bytes(source, "big") if width and len(source) == width else None
