"""Items that ask for a programmed state: software, calibration, verification number (CVN).

| read behind the last programming | word |
|---|---|
| as asked | confirmed, unless a download failed or was broken off |
| as asked, as it was before, and the download is unproven | unproven |
| otherwise, and something was programmed | failed |
| nothing, and something was programmed | unproven; not shown where names tie the item to another part |
| anything or nothing, and only the requests of a programming were recorded | not shown |
| anything or nothing, and nothing was programmed | not shown: no attempt at it; what was read is said |
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from analysis.operations.model import Kind, Operation, Part
from analysis.operations.programmed_state import state_behind
from analysis.operations.refused_readings import last_in_vain, said_in_vain
from analysis.readings import CALIBRATION_INFO, COUNTED, OBD_CVN, Reading, said_identifiers, tells_software
from analysis.sheet.items.in_words import is_value, said, said_in_hex
from analysis.sheet.items.item import READS_AS_ASKED, Expectation, Subject
from analysis.words import BROKEN, Confidence, Word, least_sure, worst
from canlog.names.tables import IdentifierName, Names
from canlog.services.gmw3110 import FULLY_PROGRAMMED

SOFTWARE_NUMBER, SOFTWARE_VERSION = 0xF188, 0xF189
APPLICATION_DATA = 0xF182
OBD_CALIBRATION = 0xF804
CVN = "cvn"
#: By which numbers a standard tells them, where no names do.
STANDARD = {
    "software": (SOFTWARE_NUMBER, SOFTWARE_VERSION), "calibration": (APPLICATION_DATA, OBD_CALIBRATION), CVN: (OBD_CVN,)
}  # fmt: skip
#: As people call the sheet's fields.
CALLED = {CVN: "CVN"}


def identity_items(subject: Subject) -> Iterator[Expectation]:
    """All of one module."""
    downloads = [one for one in subject.own(Kind.DOWNLOAD, Kind.FILE) if one.part is Part.PROGRAMMING]
    readings = _since(downloads, subject)
    for what, value in subject.asked.programming:
        yield _Identity(subject, what, value, downloads, readings).item()


def _since(downloads: Sequence[Operation], subject: Subject) -> list[Reading]:
    """Readings behind the first restart after the last download; all of them without a download.

    What a boot loader says of itself is none of them.
    """
    story = subject.story
    if story is None:
        return []
    readings = [one for one in subject.readings if not story.is_boot_loader(one.exchange)]
    if not downloads:
        return readings
    last = max(one.begin for one in downloads)
    exits = [one.end for one in story.exchanges if one.begin >= last and one.service in (0x36, 0x37)]
    normal = story.normal_after(max(exits, default=last))
    return [one for one in readings if normal is not None and one.place > normal]


@dataclass(frozen=True)
class _Identity:
    subject: Subject
    what: str  # software, calibration, cvn
    value: str
    downloads: Sequence[Operation]
    readings: Sequence[Reading]

    def item(self) -> Expectation:
        deciding = self._deciding()
        last = next((one for one in reversed(self.readings) if tells(self.what, one)), None)
        match = next((one for one in reversed(self.readings) if self._is_match(one)), None)
        is_broken = deciding is not None and deciding.outcome.word in BROKEN
        is_as_asked = match is not None and (last is None or is_value(value_of(last), self.value))
        if deciding is None:
            return self._not_programmed(match if is_as_asked else last, is_as_asked=is_as_asked)
        if deciding.outcome.word is Word.NOT_SHOWN:
            return self._unanswered(deciding, match or last)
        if match is not None and is_as_asked and deciding.outcome.word is Word.UNPROVEN and self._read_so_before(match):
            note = "read so before it was programmed as well"
            return self._make(Word.UNPROVEN, match, deciding, note, None, deciding.outcome.would_change)
        if match is not None and is_as_asked and not is_broken:
            return self._make(Word.CONFIRMED, match, deciding, "", self._sure(match, deciding))
        if is_broken:
            return self._broken(deciding, last, match)
        if last is not None:
            return self._make(Word.FAILED, last, deciding, "", Confidence.HIGH, self._program_again())
        if self._is_of_another_part():
            return self._make(Word.NOT_SHOWN, None, None, "only another part was programmed", None, self._program())
        early, note = self._read_early(), self._unread()
        return self._make(Word.UNPROVEN, early, deciding, note, None, self._read_it())

    def _unanswered(self, deciding: Operation, read: Reading | None) -> Expectation:
        """Nobody knows what became of it (requests alone): a value read since was perhaps there before."""
        note = deciding.outcome.because[0] if deciding.outcome.because else ""
        return self._make(Word.NOT_SHOWN, read, deciding, note, None, deciding.outcome.would_change)

    def _read_so_before(self, match: Reading) -> bool:
        """What stood there before is no sign that what was programmed runs."""
        begin = min(one.begin for one in self.downloads)
        earlier = [one for one in self.subject.readings if one.key == match.key and one.place < begin]
        return bool(earlier) and earlier[-1].raw == match.raw

    def _not_programmed(self, read: Reading | None, *, is_as_asked: bool) -> Expectation:
        """A state alone is no programming: the value may have stood there since long, in all or in half of a memory."""
        if read is None:
            asked = self.subject.story.exchanges if self.subject.story is not None else ()
            in_vain = last_in_vain(self._identifiers(), asked)
            note = said_in_vain(in_vain) if in_vain is not None else ""
            return self._make(Word.NOT_SHOWN, None, None, note, None, self._program())
        if not is_as_asked:
            note = "no programming is in the capture"
            return self._make(Word.NOT_SHOWN, read, None, note, None, self._program())
        note = READS_AS_ASKED.format(done="programmed")
        wish = f"add the recording in which {self.subject.label} was programmed"
        return self._make(Word.NOT_SHOWN, read, None, note, None, wish)

    def _broken(self, deciding: Operation, last: Reading | None, match: Reading | None) -> Expectation:
        """The act's own word and proof; what is read since does not mend it, but is not hidden where the module speaks
        against it by itself (GMW3110: A2).
        """
        item = self._make(deciding.outcome.word, None, deciding)
        shown = last or match
        if shown is None or not self._state_says_no():
            return item
        found = self._found(shown)
        is_as_asked = is_value(value_of(shown), self.value)
        note = f"found {found}, but the module's own state says otherwise" if is_as_asked else ""
        return replace(item, found=found, note=note)

    def _state_says_no(self) -> bool:
        story = self.subject.story
        told = state_behind(max(one.end for one in self.downloads), story) if story is not None else None
        return told is not None and told.state != FULLY_PROGRAMMED

    def _found(self, reading: Reading) -> str:
        return _cvn(value_of(reading), self.value) if self.what == CVN else said(value_of(reading))

    def _is_of_another_part(self) -> bool:
        """Names tie the item to one part, and every download is of another: an unknown address could be any part."""
        label, names = self.subject.label, self.subject.record.names
        mine = part_told_by(self.what, label, names) & {one.name for one in names.parts(label)}
        programmed = {one.details.get("name") for one in self.downloads}
        return bool(mine) and None not in programmed and not mine & programmed

    def _read_early(self) -> Reading | None:
        """What was read last behind the programming, before anything shows that what was programmed runs."""
        end = max(one.end for one in self.downloads)
        return next((one for one in reversed(self.subject.readings) if one.place > end and tells(self.what, one)), None)

    def _unread(self) -> str:
        """Why no reading tells it: none came behind a restart, or it was refused."""
        story, begin = self.subject.story, max(one.begin for one in self.downloads)
        end = max(one.end for one in self.downloads)
        restart = story.normal_after(begin) if story is not None else None
        since = story.after(restart or end) if story is not None else ()
        in_vain = last_in_vain(self._identifiers(), since)
        if in_vain is not None:
            return f"since {'the restart' if restart else 'then'} {said_in_vain(in_vain)}"
        is_started = restart is not None or (story is not None and story.may_have_restarted_behind(end) is not None)
        only = "read only before" if self._read_early() is not None else "not read since"
        return f"{only} the restart" if is_started else "no restart in this recording since"

    def _identifiers(self) -> list[int]:
        """The identifiers that tell it: by names, else those of a standard."""
        label, names = self.subject.label, self.subject.record.names
        named = {
            did
            for one in names.identifiers
            if (not one.modules or label in one.modules) and self._is_named_for_it(one)
            for did in {one.first, one.last}
        }
        return sorted(named) or list(STANDARD[self.what])

    def _is_named_for_it(self, name: IdentifierName) -> bool:
        if self.what == CVN:
            return _is_called_cvn(name)
        part = "calibration" if self.what == "calibration" else "application"
        return name.part == part and not _is_called_cvn(name)

    def _read_it(self) -> str:
        identifiers = said_identifiers(self._identifiers())
        return f"read the {self._called} ({identifiers}) of {self.subject.label} after an ignition cycle and capture it"

    @property
    def _called(self) -> str:
        return CALLED.get(self.what, self.what)

    def _make(
        self,
        word: Word,
        reading: Reading | None,
        operation: Operation | None,
        note: str = "",
        sure: Confidence | None = None,
        wish: str = "",
    ) -> Expectation:
        is_cvn = self.what == CVN
        asked = self.value.replace(" ", "").upper() if is_cvn else self.value
        found = None if reading is None else self._found(reading)
        return self.subject.item(
            self._called, Part.PROGRAMMING, asked, word, found=found, reading=reading, operation=operation,
            confidence=sure, note=note, would_change=wish,
        )  # fmt: skip

    def _deciding(self) -> Operation | None:
        """The worst of the downloads."""
        word = worst(one.outcome.word for one in self.downloads)
        return next((one for one in self.downloads if one.outcome.word is word), None)

    def _is_match(self, reading: Reading) -> bool:
        return is_value(value_of(reading), self.value) and _may_tell(self.what, reading)

    def _sure(self, reading: Reading, deciding: Operation) -> Confidence:
        """No surer than the download it identifies; an identifier known only by its value is not quite sure."""
        own = Confidence.HIGH if tells(self.what, reading) else Confidence.MEDIUM
        return least_sure([own, deciding.outcome.confidence])

    def _program(self) -> str:
        """One wish for all items of the module. A CVN is worked out from what is programmed, never programmed."""
        items = [f"{what} {value}" for what, value in self.subject.asked.programming if what != CVN]
        what = " and ".join(items) or f"what has the CVN {self.value}"
        return (
            f"program {self.subject.label} with {what}, read its identification after an ignition cycle and capture it"
        )

    def _program_again(self) -> str:
        if self.what == CVN:
            return (
                f"find out which software and calibration have the CVN {self.value} before {self.subject.label} is "
                "programmed again"
            )
        return f"program {self.subject.label} with the {self.what} asked for: {self.value}"


def value_of(reading: Reading) -> bytes:
    """The value itself, without the number of records that some identifiers begin with."""
    is_counted = reading.identifier in COUNTED and len(reading.raw) > 1 and reading.raw[0] < 0x20
    return reading.raw[1:] if is_counted else reading.raw


def _cvn(raw: bytes, asked: str) -> str:
    """In hex, as it was asked for; a module that sends the digits themselves is shown as it says them."""
    return said(raw) if raw.strip(b"\0\xff ").decode("ascii", "replace") == asked else said_in_hex(raw)


def part_told_by(what: str, label: str, names: Names) -> set[str]:
    """The parts that names tie an item to, by the identifiers that tell it."""
    own = [one for one in names.identifiers if one.part and (not one.modules or label in one.modules)]
    cvns = [one for one in own if _is_called_cvn(one)]
    if what == CVN:
        return {one.part for one in cvns}
    part = "calibration" if what == "calibration" else "application"
    return {one.part for one in own if one not in cvns and one.part == part}


def _is_called_cvn(name: IdentifierName) -> bool:
    return any(word in name.name.lower() for word in ("verification", CVN))


def tells(what: str, reading: Reading) -> bool:
    """A reading that tells this item, whatever its value."""
    is_cvn = reading.identifier == OBD_CVN or (reading.name is not None and _is_called_cvn(reading.name))
    if what == CVN:
        return is_cvn
    if is_cvn or (reading.kind not in ("identification",) and reading.identifier not in CALIBRATION_INFO):
        return False
    if what == "calibration":
        return reading.part == "calibration" or reading.identifier in (APPLICATION_DATA, OBD_CALIBRATION)
    return reading.part == "application" or (
        not reading.part and reading.identifier in (SOFTWARE_NUMBER, SOFTWARE_VERSION)
    )


def _may_tell(what: str, reading: Reading) -> bool:
    """A reading that could tell this item if its value says so."""
    is_of_maker = reading.identifier <= 0xFF and reading.tells_software  # parts and versions, numbered by the maker
    return tells(what, reading) or tells_software(reading.identifier) or (
        (is_of_maker or 0xF1A0 <= reading.identifier <= 0xF1EF) and not reading.written_by_tester and not reading.part
    )  # fmt: skip
