"""Items that ask for a value: VIN, trims, configuration.

Some ask for a state (a value that is given, a VIN to be read): it counts what was read last. Some ask for an act
(a VIN to be written, a value to be copied from another module): the act has to be in the captures.

| last write | read last | a state | an act |
|---|---|---|---|
| none | as asked | confirmed by reading | not shown |
| none | otherwise | failed | not shown |
| none | never | not shown | not shown |
| of the value | | the word of the write | the word of the write |
| of another value, or refused | as asked, behind it | confirmed by reading | failed |
| of another value, or refused | | failed | failed |

A value to be copied is the one that the source held when it was copied; a default of the source is never as asked.
What was read in front of an erase is no longer known: as asked it is not proven, otherwise not shown.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from analysis.exchanges import Answer, Exchange
from analysis.operations.model import Kind, Operation, Part
from analysis.operations.read_back import BESIDE
from analysis.operations.routines import erase_behind, told_erase
from analysis.operations.write import ANSWER_MISSING, identifier_written, read_again
from analysis.readings import Reading, said_identifiers, title_of
from analysis.sheet.items.in_words import said, said_in_hex
from analysis.sheet.items.item import READS_AS_ASKED, Expectation, Subject, deciding, stories_of
from analysis.sheet.jobsheet import ValueAsked
from analysis.story import Story
from analysis.trust.shared_time import is_inside
from analysis.vins import last_vin
from analysis.words import Confidence, Word
from canlog.names.blank import is_blank, is_fill
from canlog.names.dids import VIN
from canlog.services.identifiers import identifier_text

#: Stands for the identifiers of a module that have the same wish.
IDS = "{ids}"


#: Said of a copy whose source tells the VIN of another vehicle.
OTHER_VEHICLE = "its values may be those of another vehicle"


@dataclass(frozen=True, slots=True)
class _Wanted:
    title: str
    part: Part
    identifier: int
    value: bytes | None  # None: the source was not read
    asked: str
    is_act: bool
    doubt: str = ""  # why even an equal value is not what was asked for
    settle: str = ""  # what would take the doubt away


def value_items(subject: Subject) -> Iterator[Expectation]:
    """All of one module."""
    judged = [(wanted.identifier, _Judge(subject, wanted).item()) for wanted in _wanted(subject)]
    for _, item in judged:
        wish = (item.part, item.would_change)
        alike = [identifier for identifier, other in judged if (other.part, other.would_change) == wish]
        yield replace(item, would_change=item.would_change.replace(IDS, said_identifiers(alike)))


def _wanted(subject: Subject) -> Iterator[_Wanted]:
    if subject.asked.vin:
        vin = subject.sheet.vin
        yield _Wanted("VIN", Part.VIN, VIN, vin.encode(), vin, is_act=subject.asked.vin == "write")
    for what, values in (("trim", subject.asked.trims), ("configuration", subject.asked.configuration)):
        for asked in values:
            name = subject.record.names.identifier(subject.label, asked.identifier)
            title = f"{what} {title_of(asked.identifier, name)}"
            if asked.value is not None:
                text = asked.value.hex().upper()
                yield _Wanted(title, Part.TRIMS, asked.identifier, asked.value, text, is_act=False)
            else:
                yield _copy(subject, asked, title)


def _copy(subject: Subject, asked: ValueAsked, title: str) -> _Wanted:
    """A value to be as it is in another module of the sheet, which is one of the sheet's vehicle."""
    story = _source(subject, asked.copied_from)
    kept = _kept(subject, story, asked.identifier) if story is not None else None
    text = f"as in {asked.copied_from}" + (f": {said_in_hex(kept.raw)}" if kept is not None else "")
    vin = last_vin(story, subject.record) if story is not None else None
    doubt = settle = ""
    if kept is not None and _is_default(kept):
        doubt = f"{asked.copied_from} itself holds {'nothing' if is_blank(kept.raw) else 'a default'} there"
        settle = f"take {IDS} of {subject.label} from another source: the label, the old module, the maker"
    elif vin is not None and subject.sheet.vin and vin.text != subject.sheet.vin:
        doubt = f"{asked.copied_from} says the VIN {vin.text}: {OTHER_VEHICLE}"
        settle = f"find out whose part {asked.copied_from} is: it says the VIN {vin.text}"
    return _Wanted(
        title, Part.TRIMS, asked.identifier, kept.raw if kept else None, text, is_act=True, doubt=doubt, settle=settle
    )  # fmt: skip


def _kept(subject: Subject, source: Story, identifier: int) -> Reading | None:
    """What the source held when it was copied: a write to it, in the job or by mistake, changes it later.

    Its last reading in front of the copy, else its first one behind it if nothing was written to it in between. Where
    no copy is seen, what it said before it was overwritten.
    """
    readings = [one for one in subject.record.readings(source) if one.identifier == identifier]
    overwritten = [one.begin for one in source.exchanges if _changes(one, identifier)]
    copies = [one.begin for one in subject.own(Kind.WRITE) if one.details["identifier"] == identifier_text(identifier)]
    if copies:
        before = [one for one in readings if one.place < copies[-1]]
        behind = [one for one in readings if one.place > copies[-1]]
        untouched = [one for one in behind if not any(copies[-1] < place < one.place for place in overwritten)]
        return before[-1] if before else next(iter(untouched), None)
    before = [one for one in readings if overwritten and one.place < overwritten[0]]
    return next(reversed(before or readings), None)


def _changes(exchange: Exchange, identifier: int) -> bool:
    return exchange.outcome is not Answer.NEGATIVE and identifier_written(exchange) == identifier


def _is_default(reading: Reading) -> bool:
    return is_fill(reading.raw) or (reading.name is not None and reading.name.is_default(reading.raw))


def _source(subject: Subject, label: str) -> Story | None:
    """The module to copy from; where its link is found on several channels, the one beside the subject."""
    module = subject.sheet.module(label)
    found = stories_of(module, subject.record) if module is not None else []
    channel = subject.story.link.channel if subject.story is not None else ""
    return next((one for one in found if one.link.channel == channel), next(iter(found), None))


@dataclass(frozen=True)
class _Judge:
    subject: Subject
    wanted: _Wanted

    def item(self) -> Expectation:
        writes = [one for one in self.subject.own(Kind.WRITE) if self._is_written_by(one)]
        last = next((one for one in reversed(self.subject.readings) if self._is_read_by(one)), None)
        item = self._written(self._deciding(writes), last) if writes else self._unwritten(last)
        if item.word in (Word.CONFIRMED, Word.UNPROVEN) and self.wanted.doubt:
            return replace(
                item, word=Word.UNPROVEN, confidence=Confidence.MEDIUM, note=self.wanted.doubt,
                would_change=self.wanted.settle,
            )  # fmt: skip
        return item

    def _deciding(self, writes: Sequence[Operation]) -> Operation:
        """Where the order of several is open, one of another value than asked before the others."""
        of_another = [one for one in writes if (data := _bytes(one.details["written"])) and not self._is_same(data)]
        is_open = writes[-1].subject == writes[0].subject and self.wanted.value is not None
        return deciding(of_another if is_open and of_another else writes)

    def _is_written_by(self, operation: Operation) -> bool:
        if self.wanted.part is Part.VIN:
            return operation.part is Part.VIN
        return operation.details["identifier"] == identifier_text(self.wanted.identifier)

    def _is_read_by(self, reading: Reading) -> bool:
        return reading.identifier == self.wanted.identifier or (
            self.wanted.part is Part.VIN and reading.kind == "vin"
        )  # fmt: skip

    # no write is in the captures

    def _unwritten(self, last: Reading | None) -> Expectation:
        if last is None:
            return self._make(Word.NOT_SHOWN, would_change=self._wish())
        if self.wanted.value is None:
            return self._make(Word.NOT_SHOWN, reading=last, would_change=self._wish())
        is_same = self._is_same(last.raw)
        if self.wanted.is_act and is_same and self.wanted.doubt:
            return self._make(
                Word.NOT_SHOWN, reading=last, note=self.wanted.doubt, would_change=self.wanted.settle
            )  # fmt: skip
        if self.wanted.is_act and is_same:
            wish = f"capture the write of {IDS} to {self.subject.label}, if one was made: the values are as asked"
            return self._make(
                Word.NOT_SHOWN, reading=last, note=READS_AS_ASKED.format(done="written"), would_change=wish
            )  # fmt: skip
        if self.wanted.is_act:
            return self._make(
                Word.NOT_SHOWN, reading=last, note="not written in this capture", would_change=self._wish()
            )  # fmt: skip
        if is_same:
            return self._read(last, "confirmed by reading; no write is in the capture")
        if erased := self._erased_behind(last):
            return self._make(Word.NOT_SHOWN, reading=last, note=erased, would_change=self._wish())
        return self._make(
            Word.FAILED, reading=last, note="not written in this capture", would_change=self._wish()
        )  # fmt: skip

    def _wish(self) -> str:
        """What to do where nothing was written."""
        if self.wanted.part is not Part.VIN:
            return f"write {IDS} of {self.subject.label}, read after an ignition cycle and capture it"
        if self.wanted.is_act:
            return f"write the VIN to {self.subject.label}, read it after an ignition cycle and capture it"
        return f"read the VIN of {self.subject.label}, compare it with the plate and capture it"

    # written

    def _written(self, write: Operation, last: Reading | None) -> Expectation:
        word = write.outcome.word
        read_back, written = _bytes(write.details["read_back"]), _bytes(write.details["written"])
        found = None if read_back is None else self._said(read_back)
        value = self.wanted.value
        if value is None:
            word = Word.UNPROVEN if word is Word.CONFIRMED else word
            return self._make(
                word, found=found, operation=write,
                note="the source's value is not in the capture, so nothing can be compared",
                would_change=f"read {IDS} of {self.wanted.asked.removeprefix('as in ')} and capture that",
            )  # fmt: skip
        is_as_asked = last is not None and self._is_same(last.raw)
        is_behind = last is not None and last.place > write.begin
        is_other = written is not None and not self._is_same(written)
        if last is not None and is_as_asked and is_behind:
            if not self.wanted.is_act and (word is Word.FAILED or (is_other and word is not Word.INTERRUPTED)):
                return self._read(last, "reads as asked, though not by the last write", write)
            if word is Word.UNPROVEN and not is_other and _was_so(write):
                return self._read(last, "the value was there before the write already", write)
        if is_other and written is not None and word is not Word.INTERRUPTED:
            return self._make(
                Word.FAILED, found=found, operation=write, confidence=Confidence.HIGH,
                note="" if found == self._said(written) else f"written was {self._said(written)}",
                would_change=self._write_again(),
            )  # fmt: skip
        is_unanswered = any(ANSWER_MISSING in text for text in write.outcome.because)
        if is_unanswered and is_as_asked and is_behind and last is not None:
            return self._read(last, ANSWER_MISSING, write)
        note = write.outcome.because[0].partition(": ")[2] if word is Word.UNPROVEN else ""
        return self._make(word, found=found, operation=write, note=note)

    def _write_again(self) -> str:
        if self.wanted.part is Part.VIN:
            return f"find out which VIN is right; write it to {self.subject.label} and read it after an ignition cycle"
        return f"write {IDS} of {self.subject.label} as asked for and read after an ignition cycle"

    def _read(self, last: Reading, note: str, operation: Operation | None = None) -> Expectation:
        """The value asked for was read: it is there, unless memory was erased since."""
        word, wish = Word.CONFIRMED, ""
        if erased := self._erased_behind(last):
            word, note, wish = Word.UNPROVEN, erased, read_again([last.identifier])
        return self._make(word, reading=last, operation=operation, note=note, would_change=wish)

    def _make(
        self,
        word: Word,
        *,
        found: str | None = None,
        reading: Reading | None = None,
        operation: Operation | None = None,
        confidence: Confidence | None = None,
        note: str = "",
        would_change: str = "",
    ) -> Expectation:
        return self.subject.item(
            self.wanted.title, self.wanted.part, self.wanted.asked, word,
            found=found if reading is None else self._said(reading.raw), operation=operation, reading=reading,
            confidence=confidence, note=note, would_change=would_change,
        )  # fmt: skip

    def _said(self, raw: bytes) -> str:
        """In the form in which it was asked for: a VIN as text, a value as hex."""
        return said(raw) if self.wanted.part is Part.VIN else said_in_hex(raw)

    def _erased_behind(self, reading: Reading) -> str:
        """That memory was erased behind a reading, or may have been; empty where nothing says so."""
        story, record = self.subject.story, self.subject.record
        erase = erase_behind(reading.exchange.end, story, record.names) if story is not None else None
        if erase is None:
            return ""
        if is_inside(erase.begin, reading.exchange.capture, record.shared_time):
            return f"an erase of memory {BESIDE}: it may be gone"
        return f"read only before {told_erase(erase)}: it may be gone"

    def _is_same(self, data: bytes) -> bool:
        """The bytes asked for: of a VIN without fill bytes, of a record without fields that names say to ignore."""
        value = self.wanted.value or b""
        if self.wanted.part is Part.VIN:
            return data.strip(b"\0\xff ") == value
        story = self.subject.story
        name = self.subject.record.names.identifier(story.label if story else None, self.wanted.identifier)
        return data == value or (name is not None and name.equal_ignoring(data, value))


def _was_so(write: Operation) -> bool:
    return write.details["before"] == write.details["written"] == write.details["read_back"]


def _bytes(value: object) -> bytes | None:
    return bytes.fromhex(value) if isinstance(value, str) else None
