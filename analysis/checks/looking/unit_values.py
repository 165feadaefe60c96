"""Trims and configuration as they stand at the end of the job, module by module."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from analysis.checks.registry import Context
from analysis.exchanges import Answer
from analysis.operations.model import Kind, Operation, Part
from analysis.readings import Reading
from analysis.story import Story
from analysis.words import Evidence
from canlog.names.tables import IdentifierName
from canlog.services.identifiers import identifier_text


@dataclass(frozen=True, slots=True)
class UnitValue:
    """The value of one identifier: the last one read behind its last write, or else the one written."""

    identifier: int
    value: bytes
    name: IdentifierName | None
    write: Operation | None
    evidence: Evidence

    @property
    def kind(self) -> str:
        """By names, or else empty."""
        return str(self.name.kind) if self.name else ""


def writes_of(ctx: Context, story: Story, part: Part | None = Part.TRIMS) -> list[Operation]:
    """Standing writes to a module (of trims and configuration, of VINs, or of all parts), by identifier."""
    found = [
        item
        for item in ctx.standing(Kind.WRITE)
        if item.link.key == story.link.key and (item.part is part if part else item.part is not None)
    ]
    return sorted(found, key=identifier_of)


def identifier_of(write: Operation) -> int:
    """The identifier that a write goes to."""
    return int(str(write.details["identifier"]), 16)


def written(write: Operation) -> bytes:
    """The bytes written."""
    return bytes.fromhex(str(write.details["written"] or ""))


def lines_of(write: Operation, ctx: Context, text: str) -> Evidence:
    """The write itself as evidence."""
    first = ctx.act(write)
    return Evidence(first.capture, first.lines, text)


def was_refused(ctx: Context, write: Operation) -> bool:
    """The module refused the write for good."""
    return ctx.act(write).outcome is Answer.NEGATIVE


def mixed_sets(ctx: Context, story: Story) -> Iterator[tuple[list[Operation], list[Operation]]]:
    """Refused writes and their accepted neighbours: identifiers that are the same but for the last digit."""
    writes = writes_of(ctx, story)
    refused = [item for item in writes if was_refused(ctx, item)]
    for family in dict.fromkeys(identifier_of(item) >> 4 for item in refused):
        near = [item for item in writes if identifier_of(item) >> 4 == family]
        accepted = [item for item in near if item not in refused]
        if accepted:
            yield [item for item in near if item in refused], accepted


def values_now(ctx: Context, story: Story) -> list[UnitValue]:
    """What every identifier that was written or that names call a trim holds, by identifier; not refused ones."""
    writes = {identifier_of(item): item for item in writes_of(ctx, story) if not was_refused(ctx, item)}
    refused = {identifier_of(item) for item in writes_of(ctx, story)} - set(writes)
    last: dict[int, Reading] = {}
    for reading in ctx.record.readings(story):
        write = writes.get(reading.identifier)
        if reading.identifier in refused:
            continue
        if (write is None or reading.place > write.begin) and (write is not None or reading.kind == "trim"):
            last[reading.identifier] = reading
    found = [
        _value(ctx, story, identifier, last.get(identifier), writes.get(identifier))
        for identifier in sorted(set(last) | set(writes))
    ]
    return [item for item in found if item is not None]


def _value(
    ctx: Context, story: Story, identifier: int, reading: Reading | None, write: Operation | None
) -> UnitValue | None:
    name = ctx.record.names.identifier(story.label, identifier)
    if reading is not None:
        shown = Evidence(
            reading.exchange.capture, reading.exchange.lines, f"{identifier_text(identifier)} reads {_hex(reading.raw)}"
        )
        return UnitValue(identifier, reading.raw, name, write, shown)
    request = ctx.act(write).request if write is not None else None
    if write is None or request is None or not request.complete:
        return None
    text = f"{identifier_text(identifier)} was written {_hex(written(write))}"
    return UnitValue(identifier, written(write), name, write, lines_of(write, ctx, text))


class Moved(NamedTuple):
    """Values of a set that stand in the places of others."""

    values: list[UnitValue]
    right: dict[int, bytes]  # what each identifier should hold
    by: str  # who says so

    @property
    def identifiers(self) -> set[int]:
        """Where they stand."""
        return {one.identifier for one in self.values}


def moved_values(ctx: Context, story: Story) -> Moved | None:
    """Values that are the right ones in another order, by the job sheet or else by the module they came from."""
    now = values_now(ctx, story)
    for right, by in ((_asked(ctx, story), "the job sheet"), (_source(ctx, story), "the module they came from")):
        moved = [one for one in now if one.identifier in right and one.value != right[one.identifier]]
        if len(moved) > 1 and sorted(one.value for one in moved) == sorted(right[one.identifier] for one in moved):
            return Moved(moved, right, by)
    return None


def _asked(ctx: Context, story: Story) -> dict[int, bytes]:
    """Values that the sheet gives for this module."""
    module = ctx.sheet.module(story.label) if ctx.sheet else None
    return {one.identifier: one.value for one in module.trims if one.value is not None} if module else {}


def _source(ctx: Context, story: Story) -> dict[int, bytes]:
    """What the module that values were copied from holds under the same identifiers."""
    writes = writes_of(ctx, story)
    sources = {item.details["source_link"] for item in writes} - {None}
    mine = {identifier_of(item) for item in writes}
    return {
        reading.identifier: reading.raw
        for other in ctx.record.stories
        if other.link.key in sources
        for reading in ctx.record.readings(other)
        if reading.identifier in mine
    }


def runs(values: Sequence[UnitValue]) -> list[list[UnitValue]]:
    """Values of like units: of one run of names, or without names identifiers in a row with records of one length."""
    found: list[list[UnitValue]] = []
    for item in values:
        last = found[-1][-1] if found else None
        if last is not None and _alike(last, item):
            found[-1].append(item)
        else:
            found.append([item])
    return [run for run in found if len(run) > 1]


def _alike(one: UnitValue, other: UnitValue) -> bool:
    if one.name is not None or other.name is not None:
        return one.name is other.name and one.kind == "trim"
    return other.identifier == one.identifier + 1 and len(one.value) == len(other.value)


def _hex(data: bytes) -> str:
    return data.hex().upper()
