"""Positive answers longer than the standard's: accepted perhaps, but a frame of it may be altered.

Only of services whose answer has a fixed length; where the standard leaves room for a record of the maker's (31, 36,
37) nothing can be said. Such an answer proves nothing by itself, and the word that rests on it is at most medium.
Source: ISO 14229-1:2020, 10.3, 11.7, 11.8 and 12.2 (M): the answers to 11, 2E, 3D and 14.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final

from analysis.exchanges import Exchange
from analysis.operations.model import Operation
from analysis.record import Record
from analysis.words import Confidence, Word, least_sure
from canlog.services.layout import Kind
from canlog.services.traits import Act

FIXED: Final = frozenset({Act.WRITE, Act.WRITE_MEMORY, Act.CLEAR, Act.RESET})


def weigh_long_answers(operations: Iterable[Operation], record: Record) -> Iterator[Operation]:
    """The same operations, none surer than its answers let it be."""
    for operation in operations:
        members = [record.exchanges[number - 1] for number in operation.exchanges]
        notes = [_note(item) for item in members if _is_too_long(item)]
        yield _lowered(operation, notes) if notes else operation


def _is_too_long(exchange: Exchange) -> bool:
    if exchange.act not in FIXED or not exchange.positive:
        return False
    return exchange.answer.kind is not Kind.UNKNOWN and bool(exchange.answer.rest)


def _note(exchange: Exchange) -> str:
    said = exchange.answered.hex(" ").upper()
    return f"the answer is longer than the standard's ({said}, line {exchange.lines[-1]}): it may be altered"


def _lowered(operation: Operation, notes: list[str]) -> Operation:
    outcome = operation.outcome
    sure = least_sure([outcome.confidence, Confidence.MEDIUM]) if outcome.word is Word.CONFIRMED else outcome.confidence
    return replace(operation, outcome=replace(outcome, confidence=sure, because=(*outcome.because, *notes)))
