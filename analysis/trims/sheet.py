"""The sheet a technician would have written down: every per-unit value, where it came from, whether it arrived.

Over all captures of a job: read in the first, written in the second, proved in the third. With names, what they call
trim, configuration or learned; without them, what was written and is no identification, and every other value read.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from analysis.exchanges import Answer, Exchange
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, Part
from analysis.operations.replaced import is_of_module_before
from analysis.operations.write import identifier_written
from analysis.readings import Reading
from analysis.record import Record
from analysis.report.model import Report
from analysis.sheet.items.item import stories_of
from analysis.sheet.items.values import OTHER_VEHICLE
from analysis.sheet.jobsheet import JobSheet
from analysis.story import Story
from analysis.trims.found import SHEET_KINDS
from analysis.words import Word
from canlog.names.blank import is_blank
from canlog.names.tables import IdentifierName
from canlog.services.identifiers import identifier_text
from canlog.services.traits import identifier_asked, item_written

#: A copy may have lost or gained so many bytes at one end.
MOST_CUT = 4
#: Shorter values are equal by chance too often to be called a copy.
LEAST_COPIED = 4


class Place(NamedTuple):
    """Where a value stands on the bus."""

    capture: int
    first_line: int
    last_line: int


class Source(NamedTuple):
    """The same value in another module, read before."""

    label: str
    identifier: str
    place: Place
    how: str  # empty where the bytes are equal; else in what form they differ


@dataclass(frozen=True)
class UnitLine:
    """One value of one module through the whole job; bytes are None where it was not seen."""

    link: str
    label: str
    identifier: str
    name: str
    index: int | None
    old: bytes | None
    old_at: Place | None
    earlier: tuple[tuple[bytes, Place], ...]  # other values it read before that: those of a module taken out
    written: bytes | None
    written_at: Place | None
    refused: str  # the code in words; empty where the write was not refused
    read_back: bytes | None
    read_at: Place | None
    after_restart: bool
    is_equal: bool | None  # it reads as written, fields that names ignore left out; None where one is not there
    sources: tuple[Source, ...]
    meaning: str  # the last value by the names' layout, or as text
    word: Word

    @property
    def value(self) -> bytes | None:
        """What stands in the module, as far as the captures show."""
        return self.read_back if self.read_back is not None else self.old if self.written is None else None


@dataclass(frozen=True)
class ModuleSheet:
    """The values of one module, by identifier, and which of those that the names know nobody has read."""

    link: str
    label: str
    lines: tuple[UnitLine, ...]
    not_read: tuple[str, ...]
    is_named: bool
    doubts: tuple[str, ...] = ()  # why equal values may still be wrong for the vehicle of the job sheet

    @property
    def total(self) -> str:
        """``7 of 7 equal, 7 read after a restart``; empty where nothing was written."""
        written = [one for one in self.lines if one.written is not None or one.refused]
        if not written:
            return ""
        equal = sum(one.is_equal is True for one in written)
        after = sum(one.is_equal is True and one.after_restart for one in written)
        return f"{equal} of {len(written)} read equal, {after} of them after a restart"


def trim_sheets(report: Report, sheet: JobSheet | None = None) -> list[ModuleSheet]:
    """One sheet for every module that has a value on it, or one that names or the job sheet expect."""
    record = report.record
    sheets = []
    for story in record.stories:
        lines = tuple(_lines(story, report, set(_asked(story, record, sheet))))
        missing = tuple(_not_read(story, record, sheet))
        if lines or (missing and story.own):
            key = story.link.key
            notes = [one.note for one in report.expectations if one.link == key and one.note.endswith(OTHER_VEHICLE)]
            doubts = tuple(dict.fromkeys(notes))
            sheets.append(ModuleSheet(key, story.label, lines, missing, _is_described(story, record), doubts))
    return sheets


def _lines(story: Story, report: Report, asked: Collection[int]) -> Iterator[UnitLine]:
    record = report.record
    is_described = _is_described(story, record)
    readings: dict[int, list[Reading]] = {}
    for reading in record.readings(story):
        readings.setdefault(reading.identifier, []).append(reading)
    writes = {
        int(str(item.details["identifier"]), 16): item
        for item in standing(report.operations)
        if item.kind is Kind.WRITE and item.part is Part.TRIMS and item.link.key == story.link.key
    }
    wanted = {
        number
        for number, found in readings.items()
        if number in asked or _is_unit_value(found[-1], is_described=is_described)
    }
    for identifier in sorted(wanted | set(writes)):
        yield _line(story, identifier, readings.get(identifier, []), writes.get(identifier), record)


def _is_described(story: Story, record: Record) -> bool:
    """Names say what identifiers of the module are; a job sheet gives it a label alone."""
    known = record.names.identifiers
    return story.named and any(not name.modules or story.label in name.modules for name in known)


def _is_unit_value(reading: Reading, *, is_described: bool) -> bool:
    """By its name; in a module without names, data that is no identification and no value measured (F4xx)."""
    if reading.name is not None:
        return reading.kind in SHEET_KINDS
    return not is_described and reading.kind == "other" and not 0xF000 <= reading.identifier <= 0xFFFF


def _line(
    story: Story, identifier: int, readings: Sequence[Reading], write: Operation | None, record: Record
) -> UnitLine:
    name = record.names.identifier(story.label, identifier)
    act = record.exchanges[write.exchanges[0] - 1] if write is not None else None
    if act is not None and identifier_written(act) != identifier:
        act = next((item for item in story.own if identifier_written(item) == identifier), None)
    seen = [one for one in readings if act is None or one.place < act.begin]
    taken_out = [one for one in seen if act and is_of_module_before(one, act.capture, story, record)]
    before = [one for one in seen if one not in taken_out]
    after = [one for one in readings if act is not None and one.place > act.begin]
    written = _written(act)
    start = story.start_after(act.end) if act is not None else None
    last = after[-1] if after else None
    shown = (after or before)[-1] if after or before else None
    return UnitLine(
        link=story.link.key,
        label=story.label,
        identifier=identifier_text(identifier),
        name=name.name if name else "",
        index=name.number_of(identifier) if name else None,
        old=before[-1].raw if before else None,
        old_at=_place(before[-1].exchange) if before else None,
        earlier=tuple(
            {
                one.raw: (one.raw, _place(one.exchange))
                for one in seen
                if one in taken_out or _is_other(one, before[-1])
            }.values()
        ),
        written=written,
        written_at=_place(act) if act is not None else None,
        refused=act.refusal if act is not None and act.outcome is Answer.NEGATIVE else "",
        read_back=last.raw if last is not None else None,
        read_at=_place(last.exchange) if last is not None else None,
        after_restart=last is not None and start is not None and last.place > start.place,
        is_equal=_is_equal(written, last, name),
        sources=tuple(_sources(story, written, act, record)) if written is not None and act is not None else (),
        meaning=_meaning(shown, written, name),
        word=write.outcome.word if write is not None else Word.NOT_SHOWN,
    )


def _is_other(one: Reading, last: Reading) -> bool:
    """Another value of an earlier capture; within one capture it is the same module, which learns or measures."""
    return one.raw != last.raw and one.exchange.capture != last.exchange.capture


def _is_equal(written: bytes | None, last: Reading | None, name: IdentifierName | None) -> bool | None:
    if written is None or last is None:
        return None
    return last.raw == written or (name is not None and name.equal_ignoring(last.raw, written))


def _written(act: Exchange | None) -> bytes | None:
    if act is None or act.request is None or not act.request.complete:
        return None
    item = item_written(act.asked, act.dialect)
    return item.data if item is not None else None


def _meaning(shown: Reading | None, written: bytes | None, name: IdentifierName | None) -> str:
    if shown is not None:
        return shown.text or ""
    if written is None or name is None or not name.layout:
        return ""
    return ", ".join(f"{one.name} {one.text}" for one in name.decode(written))


def _place(exchange: Exchange) -> Place:
    return Place(exchange.capture, *exchange.lines)


def _sources(story: Story, written: bytes, act: Exchange, record: Record) -> Iterator[Source]:
    """Every module that said the same before, the last time it did; changed forms only where none said equal bytes.

    On the link of the module itself it counts in an earlier capture: that may be the module that was taken out.
    """
    if len(written) < LEAST_COPIED or len(set(written)) < 2:
        return
    others = [
        (other, reading)
        for other in record.stories
        for reading in record.readings(other)
        if other.label != story.label or reading.exchange.capture < act.capture
        if reading.place < act.begin and not is_blank(reading.raw)
    ]
    equal = {other.label: (other, one) for other, one in others if one.raw == written}
    if equal:
        for other, one in equal.values():
            yield Source(other.label, one.number, _place(one.exchange), "")
        return
    changed = {other.label: (other, one, how) for other, one in others if (how := changed_form(one.raw, written))}
    for other, one, how in changed.values():
        yield Source(other.label, one.number, _place(one.exchange), how)


def changed_form(read: bytes, written: bytes) -> str:
    """How a value that was written may come from one that was read; empty where nothing speaks for it.

    Common practice, no source: cut at an end, the two bytes of each word swapped, ASCII digits against packed hex.
    """
    short, long = sorted((read, written), key=len)
    cut = len(long) - len(short)
    if 0 < cut <= MOST_CUT and len(short) >= LEAST_COPIED and len(set(short)) > 1:
        if long.endswith(short):
            return f"{cut} bytes less at the front" if short is written else f"{cut} bytes more at the front"
        if long.startswith(short):
            return f"{cut} bytes less at the end" if short is written else f"{cut} bytes more at the end"
    if len(read) == len(written) and len(read) % 2 == 0 and read != written:
        swapped = b"".join(read[at : at + 2][::-1] for at in range(0, len(read), 2))
        if swapped == written:
            return "the two bytes of each word swapped"
    if _as_digits(read) == written or _as_digits(written) == read:
        return "text digits against packed hex"
    return ""


def _as_digits(data: bytes) -> bytes:
    """The ASCII hex digits of a value packed two to a byte; empty where it is no such text."""
    try:
        return bytes.fromhex(data.decode("ascii")) if len(data) >= 2 * LEAST_COPIED else b""
    except ValueError:
        return b""


def _not_read(story: Story, record: Record, sheet: JobSheet | None) -> Iterator[str]:
    """Values of this module that names or the job sheet know and no capture holds."""
    said = {reading.identifier for reading in record.readings(story)}
    due = {
        identifier: name.name
        for name in record.names.identifiers
        if story.named and name.kind in SHEET_KINDS and story.label in name.modules
        for identifier in range(name.first, name.last + 1)
    }
    for identifier in _asked(story, record, sheet):
        due.setdefault(identifier, "on the job sheet")
    for identifier, called in due.items():
        if identifier not in said:
            yield f"{identifier_text(identifier)} ({called}{_how_it_ended(story, identifier)})"


def _asked(story: Story, record: Record, sheet: JobSheet | None) -> Iterator[int]:
    """Identifiers that the sheet names for this module, or for another that is to have its value."""
    own = {one.label for one in (sheet.modules if sheet else ()) if story in stories_of(one, record)}
    for module in sheet.modules if sheet else ():
        for value in (*module.trims, *module.configuration):
            if module.label in own or value.copied_from in own:
                yield value.identifier


def _how_it_ended(story: Story, identifier: int) -> str:
    """How asking for it ended; empty where nobody asked."""
    tries = [one for one in story.own if one.asked and identifier_asked(one.asked, one.dialect) == identifier]
    if not tries:
        return ""
    return f", refused: {tries[-1].refusal}" if tries[-1].outcome is Answer.NEGATIVE else ", asked without an answer"
