"""Memory read by address (23), and writes by address (3D) with the words of writes by identifier.

| word | when |
|---|---|
| confirmed | answered positively, and reads by address behind it that cover all of it together are equal: read after a restart (high), else in the same power cycle (medium) |
| unproven | answered positively, and not, or not all of it, read since; or read only before the restart that followed; or the same before |
| failed | refused for good, or a byte of it reads differently |
| interrupted | no final answer, or the request is not whole |

The answer repeats address and size, never the data (ISO 14229-1:2020, 11.8 (M)).
"""  # noqa: E501

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

from analysis.exchanges import Answer, Exchange
from analysis.operations.model import Kind, Operation, Part, evidence, span
from analysis.operations.read_back import ReadBack, Written, are_behind, judge_read_back, not_whole, refused, unanswered
from analysis.record import Record
from analysis.story import Story
from analysis.words import Outcome, Word
from canlog.counting import counted
from canlog.services.dialects import GMW
from canlog.services.gmw3110 import address_bytes_of
from canlog.services.traits import Act


class Piece(NamedTuple):
    """Bytes at an address, as one exchange read or wrote them."""

    exchange: Exchange
    address: int
    data: bytes

    @property
    def memory(self) -> range:
        """Its addresses."""
        return range(self.address, self.address + len(self.data))

    def bytes_in(self, memory: range) -> dict[int, int]:
        """The bytes it has of some memory, by address."""
        shared = range(max(memory.start, self.address), min(memory.stop, self.memory.stop))
        return {at: self.data[at - self.address] for at in shared}


def memory_reads(exchanges: Iterable[Exchange]) -> Iterator[Piece]:
    """What was read by address, in order."""
    for exchange in exchanges:
        if exchange.act is not Act.READ_MEMORY or not exchange.asked or not exchange.positive or not exchange.whole:
            continue
        address = exchange.ask.get("memory_address")
        if isinstance(address, int):
            repeated = (address_bytes_of(exchange.asked) or 0) if exchange.dialect == GMW else 0
            yield Piece(exchange, address, exchange.answered[1 + repeated :])


def memory_written(exchanges: Iterable[Exchange]) -> Iterator[Piece]:
    """What may have been written by address, in order: what was not refused."""
    for exchange in exchanges:
        if exchange.act is Act.WRITE_MEMORY and exchange.outcome is not Answer.NEGATIVE:
            piece = _piece_written(exchange)
            if piece is not None:
                yield piece


def find_memory_writes(story: Story, record: Record) -> list[Operation]:
    """All writes by address to a module, in order; superseded ones included."""
    writes = [
        piece
        for exchange in story.own
        if exchange.act is Act.WRITE_MEMORY and (piece := _piece_written(exchange)) is not None
    ]
    reads = list(memory_reads(story.own)) if writes else []
    return [_Judge(piece, writes, reads, story, record).operation() for piece in writes]


def _piece_written(exchange: Exchange) -> Piece | None:
    """None where the capture does not say which address."""
    address, data = (exchange.ask.get(name) if exchange.asked else None for name in ("memory_address", "data_record"))
    if not isinstance(address, int) or not isinstance(data, bytes):
        return None
    return Piece(exchange, address, data)


@dataclass
class _Judge:
    piece: Piece
    writes: Sequence[Piece]
    reads: Sequence[Piece]
    story: Story
    record: Record

    @property
    def title(self) -> str:
        """``memory at 00020010 (4 bytes)``, for people."""
        return f"memory at {self.piece.address:08X} ({counted(len(self.piece.data), 'byte')})"

    def operation(self) -> Operation:
        exchange = self.piece.exchange
        backs = self._read_backs()
        behind = are_behind(exchange, backs, self.record)
        start = self.story.start_after(exchange.end)
        proof = behind[-1].exchange if behind else None
        seen = self._seen_until(proof) if proof else []
        found = _laid_together(self.piece.memory, seen)
        before = self._before()
        details: dict[str, object] = {
            "address": f"{self.piece.address:08X}",
            "size": len(self.piece.data),
            "before": before.hex().upper() if before is not None else None,
            "written": self.piece.data.hex().upper() if self._is_request_whole() else None,
            "read_back": found.hex().upper() if found is not None else None,
            "after_power_cycle": proof is not None and start is not None and proof.begin > start.place,
        }
        return Operation(
            kind=Kind.WRITE_MEMORY,
            link=self.story.link,
            label=self.story.label,
            outcome=_resting_on(self._outcome(before, backs), seen),
            subject=f"write memory {self.piece.memory.start:X}-{self.piece.memory.stop:X}",
            part=Part.TRIMS,
            details=details,
            **span([exchange, *(item.exchange for item in seen)]),  # type: ignore[arg-type]
        )

    def _is_request_whole(self) -> bool:
        request = self.piece.exchange.request
        return request is not None and request.complete and not self.piece.exchange.ask.problems

    def _outcome(self, before: bytes | None, backs: Sequence[ReadBack]) -> Outcome:
        exchange, title, wish = self.piece.exchange, self.title, self._wish()
        if exchange.outcome is Answer.NEGATIVE:
            return refused(title, exchange)
        if not exchange.positive:
            return unanswered(title, exchange, wish)
        if not self._is_request_whole():
            return not_whole(title, wish)
        written = Written(title, exchange, before == self.piece.data, stored_at_power_down=False, wish=wish)
        outcome = judge_read_back(written, backs, self.story, self.record)
        over = self._overwritten
        if outcome.word is not Word.UNPROVEN or backs or over is None:
            return outcome
        share = "partly " * (not set(self.piece.memory) <= set(over.memory))
        text = f"{title}: accepted, and {share}written over (line {over.exchange.lines[0]}) before it was read"
        return replace(outcome, because=(text,))

    @cached_property
    def _overwritten(self) -> Piece | None:
        """The first later write to any of its memory."""
        return next((item for item in self.writes if self._overwrites(item)), None)

    def _wish(self) -> str:
        return f"read {self.title} by address (23) after an ignition cycle and capture it"

    def _before(self) -> bytes | None:
        """What stood there, by the reads in front of the write, where they cover all of it."""
        earlier = [item for item in self.reads if item.exchange.begin < self.piece.exchange.begin]
        return _laid_together(self.piece.memory, earlier)

    def _read_backs(self) -> list[ReadBack]:
        """Readings behind the write: from the one on that completes the memory, and every one with a wrong byte.

        A later write to any of it ends what they can tell.
        """
        memory, exchange = self.piece.memory, self.piece.exchange
        horizon = self._overwritten.exchange.begin if self._overwritten is not None else None
        backs: list[ReadBack] = []
        for item in self.reads:
            if item.exchange.begin <= exchange.begin or (horizon is not None and item.exchange.begin > horizon):
                continue
            own = item.bytes_in(memory)
            if not own:
                continue
            whole = _laid_together(memory, self._seen_until(item.exchange))
            if whole is not None:
                backs.append(ReadBack(item.exchange, whole == self.piece.data))
            elif any(self.piece.data[at - memory.start] != byte for at, byte in own.items()):
                backs.append(ReadBack(item.exchange, is_equal=False))
        return backs

    def _overwrites(self, other: Piece) -> bool:
        is_later = other.exchange.begin > self.piece.exchange.begin
        return (
            is_later
            and other.exchange.outcome is not Answer.NEGATIVE
            and bool(_shared(other.memory, self.piece.memory))
        )

    def _seen_until(self, last: Exchange) -> list[Piece]:
        """What was read of the memory behind the write, up to an exchange, in the power cycle of that one."""
        start = self.story.start_after(self.piece.exchange.end)
        behind = self.piece.exchange.begin
        if start is not None and last.begin > start.place:
            behind = start.place
        return [
            item
            for item in self.reads
            if behind < item.exchange.begin <= last.begin and _shared(item.memory, self.piece.memory)
        ]


def _resting_on(outcome: Outcome, seen: Sequence[Piece]) -> Outcome:
    """All the readings that show the memory together are its proof."""
    if outcome.word is not Word.CONFIRMED:
        return outcome
    return replace(outcome, proof=tuple(evidence(item.exchange, outcome.because[0]) for item in seen))


def _shared(one: range, other: range) -> range:
    return range(max(one.start, other.start), min(one.stop, other.stop))


def _laid_together(memory: range, pieces: Iterable[Piece]) -> bytes | None:
    """The newest bytes of pieces in order, where they cover all of some memory."""
    seen: dict[int, int] = {}
    for piece in pieces:
        seen |= piece.bytes_in(memory)
    return bytes(seen[at] for at in memory) if len(seen) == len(memory) else None
