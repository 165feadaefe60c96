"""A job sheet filled from a capture that is known to be good, to begin one's own with.

Everything done and everything identified becomes an item; each is judged against the same capture as any sheet is
(``judge_sheet``). What is confirmed stands in the sheet, the rest as a comment with its word and reason: a sheet must
not ask for what not even the good capture proves without saying so.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, Part
from analysis.readings import Reading, said_identifiers
from analysis.record import Record
from analysis.report.model import Report
from analysis.report.wording import WORD
from analysis.sheet.expectations import judge_sheet
from analysis.sheet.items.identity import CVN, tells, value_of
from analysis.sheet.items.in_words import said
from analysis.sheet.items.item import Expectation
from analysis.sheet.jobsheet import PROGRAMMING_ITEMS, JobSheet, ModuleAsked, ValueAsked
from analysis.story import Story
from analysis.vins import last_vin
from analysis.words import Word
from canlog.isotp.addressing import parse_link
from canlog.names.blank import FILLS, is_fill
from canlog.names.vin import is_well_formed

#: In the order of a sheet.
FIELDS = ("programming", "vin", "trims", "configuration", "learn", "clear_faults")


@dataclass(frozen=True)
class _Item:
    """One thing a module may be asked for: a sheet that asks for it alone."""

    module: ModuleAsked
    field: str  # of the sheet
    text: str  # the value as TOML
    judged: Expectation | None = None
    blank: str = ""  # what holds no value in the capture: nothing to ask for

    @property
    def is_confirmed(self) -> bool:
        return not self.blank and self.judged is not None and self.judged.word is Word.CONFIRMED


def starter_sheet(report: Report) -> str:
    """The sheet as TOML; :func:`analysis.sheet.jobsheet.load_job_sheet` reads it."""
    record = report.record
    vin = _vehicle(record)
    modules = _modules(record, standing(report.operations))
    judged = [(bare, [_judge(item, vin, modules, report) for item in items]) for bare, items in modules]
    sources = {
        value.copied_from
        for _, items in judged
        for one in items
        for value in (*one.module.trims, *one.module.configuration)
    }
    names = ", ".join(one.name for one in record.captures)
    pieces = [
        f"# Job sheet filled from {_comment(names)}, which has to be a recording of a job known to be good.",
        "# Check every line, and change what is another in your job: VIN, values, numbers.",
    ]
    if vin:
        pieces.append(f"[vehicle]\nvin = {_quoted(vin)}\n")
    pieces += [_text(bare, items) for bare, items in judged if items or bare.label in sources]
    return "\n".join(pieces)


def _vehicle(record: Record) -> str:
    """The VIN that most modules say at the end; empty where none says one."""
    said_vins = (last_vin(story, record) for story in record.stories if story.own)
    counts = Counter(one.text for one in said_vins if one is not None and is_well_formed(one.text))
    return counts.most_common(1)[0][0] if counts else ""


def _modules(record: Record, operations: Sequence[Operation]) -> list[tuple[ModuleAsked, list[_Item]]]:
    """Modules with the items they could be asked for."""
    stories = [story for story in record.stories if story.own]
    labels = Counter(story.label for story in stories)
    found = []
    meant = _meant(stories, operations)
    for story in stories:
        label = story.label if labels[story.label] == 1 else story.link.key
        key = story.link.key.partition(":")[2]
        is_alone = sum(one.link.key.partition(":")[2] == key for one in stories) == 1
        bare = ModuleAsked(label, parse_link(key if is_alone else story.link.key))
        own = [one for one in operations if one.link.key == story.link.key]
        found.append((bare, list(_items(bare, story, own, record)) if story.link.key in meant else []))
    return found


def _meant(stories: Sequence[Story], operations: Sequence[Operation]) -> set[str]:
    """Links of modules that something was done to; a clear reaches all modules and counts where there is no more."""
    acts = [one for one in operations if one.part is not None]
    more = [one for one in acts if one.kind is not Kind.CLEAR]
    keys = {one.link.key for one in more or acts}
    return {story.link.key for story in stories if story.link.key in keys}


def _items(bare: ModuleAsked, story: Story, operations: Sequence[Operation], record: Record) -> Iterator[_Item]:
    """All that it may be asked for."""
    for what, value in _programmed(record.readings(story)):
        blank = "" if value else f"{what} reads blank"
        asked = replace(bare, programming=((what, value),))
        yield _Item(asked, "programming", f"{what} = {_quoted(value)}", blank=blank)
    writes = [one for one in operations if one.kind is Kind.WRITE]
    act = "write" if any(one.part is Part.VIN for one in writes) else "read"
    if last_vin(story, record) is not None:
        yield _Item(replace(bare, vin=act), "vin", _quoted(act))
    for one in writes:
        if one.part is Part.TRIMS and one.details["written"]:
            yield _value(bare, one, record)
    for one in operations:
        if one.kind is Kind.ROUTINE and one.part is Part.LEARN:
            routine = str(one.details["identifier"])
            yield _Item(replace(bare, learn=(int(routine, 16),)), "learn", _quoted(routine))
    if any(one.kind is Kind.CLEAR for one in operations):
        yield _Item(replace(bare, clear_faults=True), "clear_faults", "true")


def _programmed(readings: Sequence[Reading]) -> Iterator[tuple[str, str]]:
    """The last reading of each that tells one; empty where it is blank."""
    for what in PROGRAMMING_ITEMS:
        last = next((one for one in reversed(readings) if tells(what, one)), None)
        if last is not None:
            raw = value_of(last)
            is_blank = not raw.strip(FILLS)
            yield what, "" if is_blank else raw.hex().upper() if what == CVN else said(raw)


def _value(bare: ModuleAsked, write: Operation, record: Record) -> _Item:
    """Copied where the source told it under the same number, else the value itself."""
    identifier, data = int(str(write.details["identifier"]), 16), str(write.details["written"])
    field = "configuration" if write.details["kind"] == "configuration" else "trims"
    source = record.story(str(write.details["source_link"])) if write.details["source_link"] else None
    is_same = source is not None and any(
        one.identifier == identifier and one.raw.hex().upper() == data for one in record.readings(source)
    )
    origin = source.label if source is not None and is_same and field == "trims" else ""
    asked = ValueAsked(identifier, None if origin else bytes.fromhex(data), origin)
    text = f"copied_from = {_quoted(origin)}" if origin else f'value = "{data}"'
    module = replace(bare, configuration=(asked,)) if field == "configuration" else replace(bare, trims=(asked,))
    name = record.names.identifier(write.label, identifier)
    is_blank = is_fill(bytes.fromhex(data)) or (name is not None and name.is_blank(bytes.fromhex(data)))
    return _Item(module, field, text, blank=f"{said_identifiers([identifier])} is blank" if is_blank else "")


def _judge(item: _Item, vin: str, modules: Sequence[tuple[ModuleAsked, list[_Item]]], report: Report) -> _Item:
    """The item with its word when it is asked for alone, beside all modules (sources are among them)."""
    asked = [item.module if bare.label == item.module.label else bare for bare, _ in modules]
    sheet = JobSheet(vin, tuple(asked), "")
    found = judge_sheet(sheet, report.record, report.operations)
    return replace(item, judged=next((one for one in found if one.item.startswith(f"{item.module.label}: ")), None))


def _text(bare: ModuleAsked, items: Sequence[_Item]) -> str:
    link = (
        bare.link.key.lstrip(":") if bare.link is not None else ""
    )  # the next recording may call its channel otherwise
    lines = ["[[module]]", f"label = {_quoted(bare.label)}", f"link = {_quoted(link)}"]
    for field, group in groupby(sorted(items, key=lambda one: FIELDS.index(one.field)), key=lambda one: one.field):
        lines += _field(field, list(group))
    return "\n".join(lines) + "\n"


def _field(field: str, items: Sequence[_Item]) -> list[str]:
    """The confirmed ones as the field, the others as comments."""
    good = [one for one in items if one.is_confirmed]
    lines = [_remark(one) for one in items if not one.is_confirmed]
    texts = [one.text for one in good]
    if not good:
        return lines
    if field == "programming":
        lines.append(f"programming = {{ {', '.join(texts)} }}")
    elif field == "learn":
        lines.append(f"learn = [ {', '.join(dict.fromkeys(texts))} ]")
    elif field in ("trims", "configuration"):
        lines += [f"{field} = [", *_rows(good), "]"]
    else:
        lines.append(f"{field} = {texts[0]}")
    return lines


def _rows(items: Sequence[_Item]) -> Iterator[str]:
    """Those that ask for the same in one row."""
    for text in dict.fromkeys(one.text for one in items):
        identifiers = _identifiers(one for one in items if one.text == text)
        yield f'  {{ identifiers = "{identifiers}", {text} }},'


def _identifiers(items: Iterator[_Item]) -> str:
    numbers = [value.identifier for one in items for value in (*one.module.trims, *one.module.configuration)]
    return said_identifiers(numbers)


def _remark(item: _Item) -> str:
    if item.blank:  # a sheet must not ask for a blank
        return _comment(f"# {item.field}: {item.blank} in this recording, so it is not asked for.")
    word = WORD[item.judged.word.value] if item.judged is not None else "nothing found"
    note = f", {item.judged.note}" if item.judged is not None and item.judged.note else ""
    numbers = f" {_identifiers(iter([item]))}:" if item.field in ("trims", "configuration") else ""
    return _comment(f"# {item.field}:{numbers} {item.text} - not confirmed here: {word}{note}")


def _quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are among TOML's."""
    return json.dumps(text, ensure_ascii=True)


def _comment(text: str) -> str:
    return "".join(sign if sign.isprintable() else " " for sign in text)
