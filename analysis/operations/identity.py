"""Reads of identification, as an act of its own: one operation a module and visit.

confirmed: a value was read twice, equal, at least once in another exchange; unproven: answered once; failed: all
refused; interrupted: no answer. It never lowers the overall word.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.exchanges import Answer, Exchange
from analysis.operations.model import Kind, Operation, evidence, span
from analysis.readings import title_of
from analysis.record import Record
from analysis.story import Story
from analysis.words import Confidence, Outcome, Word
from canlog.services.identifiers import identifier_kind
from canlog.services.traits import identifier_asked

OBD_INFORMATION = 0x09
IDENTITY = frozenset({"identification", "vin", "fingerprint"})


def find_identities(story: Story, record: Record) -> list[Operation]:
    """Runs of identification reads of a module that no other request interrupts."""
    return [_operation(run, story, record) for run in _runs(story, record)]


def _runs(story: Story, record: Record) -> Iterator[list[Exchange]]:
    run: list[Exchange] = []
    for exchange in story.exchanges:
        if _is_identity(exchange, story, record):
            run.append(exchange)
        elif run and exchange.service != 0x3E:
            yield run
            run = []
    if run:
        yield run


def _is_identity(exchange: Exchange, story: Story, record: Record) -> bool:
    if exchange.link.functional:
        return False
    if exchange.service == OBD_INFORMATION:
        return True
    identifier = identifier_asked(exchange.asked, exchange.dialect)
    if identifier is None:
        return False
    name = record.names.identifier(story.label, identifier)
    kind = str(name.kind) if name else identifier_kind(identifier, exchange.dialect, exchange.service)
    return kind in IDENTITY


def _operation(run: list[Exchange], story: Story, record: Record) -> Operation:
    return Operation(
        kind=Kind.IDENTITY,
        link=story.link,
        label=story.label,
        outcome=_outcome(run, story, record),
        subject=f"identity {run[0].number}",
        details={"identifiers": [_title(item) for item in run], "answered": sum(item.positive for item in run)},
        **span(run),  # type: ignore[arg-type]
    )


def _title(exchange: Exchange) -> str:
    identifier = None if exchange.service == OBD_INFORMATION else identifier_asked(exchange.asked, exchange.dialect)
    if identifier is None:
        return f"09 {exchange.asked[1:2].hex()}"
    return title_of(identifier, None, exchange.dialect, exchange.service)


def _outcome(run: list[Exchange], story: Story, record: Record) -> Outcome:
    positive = [item for item in run if item.positive]
    if not positive:
        word = Word.FAILED if any(item.outcome is Answer.NEGATIVE for item in run) else Word.INTERRUPTED
        text = "identification was refused" if word is Word.FAILED else "identification was not answered"
        return Outcome(word, Confidence.HIGH, (evidence(run[-1], text),), (text,), "ask again with the ignition on")
    mine = {item.number for item in positive}
    values: dict[tuple[int, int], set[bytes]] = {}
    for reading in record.readings(story):
        if reading.exchange.number not in mine:
            values.setdefault(reading.key, set()).add(reading.raw)
    again = next(
        (
            reading
            for reading in record.readings(story)
            if reading.exchange.number in mine and reading.raw in values.get(reading.key, ())
        ),
        None,
    )
    if again is not None:
        text = f"{again.title} was read again with the same value"
        return Outcome(Word.CONFIRMED, Confidence.HIGH, (evidence(again.exchange, text),), (text,))
    return Outcome(Word.UNPROVEN, Confidence.HIGH, (), ("read once",), "read it a second time")
