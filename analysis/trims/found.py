"""The trim sheet: every per-unit value read, copied, written, read back.

Without names a trim or configuration value is what was written to an identifier that is no standard
identification, fingerprint or VIN; with names also what they call trim, configuration or learned.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, Part
from analysis.readings import Reading
from analysis.record import Record
from analysis.story import Story
from analysis.words import Word
from canlog.names.blank import BLANK, is_blank, is_wiped

#: Said of a value that nobody has set.
DEFAULT = "equals the factory default"
#: Said of a value that was good before the job wrote a blank over it.
WIPED = "a good value was overwritten with a blank: write the one before back"
SHEET_KINDS = frozenset({"trim", "configuration", "learned"})


@dataclass(frozen=True, slots=True)
class Trim:
    """One value of one module."""

    link: str
    identifier: int
    name: str | None
    index: int | None
    old: bytes | None
    source_link: str | None
    written: bytes | None
    read_back: bytes | None
    unit: str | None
    word: Word
    operation: int | None  # its number
    refused: int | None  # code of a write that was refused
    notes: tuple[str, ...]


def trim_sheet(record: Record, operations: Sequence[Operation]) -> list[Trim]:
    """All trims of all modules, by module and identifier."""
    writes = {
        (item.link.key, int(str(item.details["identifier"]), 16)): item
        for item in standing(operations)
        if item.kind is Kind.WRITE and item.part is Part.TRIMS
    }
    found = []
    for story in record.stories:
        read = {
            one.identifier: one for one in record.readings(story) if one.name is not None and one.kind in SHEET_KINDS
        }  # fmt: skip
        written = {identifier for key, identifier in writes if key == story.link.key}
        for identifier in sorted(set(read) | written):
            operation = writes.get((story.link.key, identifier))
            found.append(_row(story, identifier, read.get(identifier), operation, record))
    return found


def _row(
    story: Story, identifier: int, last: Reading | None, operation: Operation | None, record: Record
) -> Trim:  # fmt: skip
    name = record.names.identifier(story.label, identifier)
    value = last.raw if last is not None else None
    details = operation.details if operation is not None else {}
    written, read_back = _bytes(details.get("written")), _bytes(details.get("read_back"))
    notes = []
    refused = record.exchanges[operation.exchanges[0] - 1].nrc if operation is not None else None
    shown = read_back or (written if refused is None else None) or value
    if shown is not None and is_blank(shown):
        notes.append(BLANK)
    elif name is not None and shown is not None:
        if name.is_default(shown):
            notes.append(DEFAULT if refused is None else "still holds the factory default")
        values = name.decode(shown)
        notes += [f"{one.name} {one.text} is out of range" for one in values if one.in_range is False]
    before = _bytes(details.get("before"))
    if before is not None and written is not None and refused is None and is_wiped(before, written):
        notes.append(WIPED)
    if operation is not None:
        notes += operation.outcome.because[:1]
    unit = next((one.unit for one in name.layout if one.unit), None) if name else None
    source = details.get("source_link")
    return Trim(
        link=story.link.key,
        identifier=identifier,
        name=name.name if name else None,
        index=name.number_of(identifier) if name else None,
        old=_bytes(details.get("before")) if operation is not None else value,
        source_link=str(source) if source else None,
        written=written,
        read_back=read_back,
        unit=unit,
        word=operation.outcome.word if operation is not None else Word.NOT_SHOWN,
        operation=operation.number if operation is not None else None,
        refused=refused,
        notes=tuple(notes),
    )


def _bytes(value: object) -> bytes | None:
    return bytes.fromhex(value) if isinstance(value, str) else None
