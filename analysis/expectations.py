"""The job sheet's items, each with a word of its own.

An operation says what happened on the bus; an item says whether what was asked for is there. So an item about a
state can be confirmed by reading alone, and a sound download can still leave an item failed (another calibration).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from analysis.doubts import SPOILT, spoils
from analysis.jobsheet import JobSheet, ModuleAsked, ValueAsked
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, Part, evidence
from analysis.operations.routines import memory_erased_behind
from analysis.readings import CALIBRATION_INFO, Reading, tells_software, title_of
from analysis.record import Record
from analysis.story import Story
from analysis.words import Confidence, Evidence, Word, least_sure, worst
from canlog.names.dids import VIN

SOFTWARE_NUMBER, SOFTWARE_VERSION = 0xF188, 0xF189
APPLICATION_DATA = 0xF182
#: Said where a value was read and memory erased afterwards.
ERASED = "read only before memory was erased: it may be gone"
OBD_CALIBRATION, OBD_CVN = 0xF804, 0xF806


@dataclass(frozen=True, slots=True)
class Expectation:
    """One item of the sheet, asked and found."""

    item: str
    part: Part
    link: str | None
    asked: str
    found: str | None
    word: Word
    confidence: Confidence
    note: str
    would_change: str
    operation: int | None
    evidence: tuple[Evidence, ...]


def judge_sheet(sheet: JobSheet, record: Record, operations: Sequence[Operation]) -> list[Expectation]:
    """Every item of the sheet, in the order of the sheet."""
    valid = standing(operations)
    found = [
        item
        for module in sheet.modules
        for item in _Module(sheet, module, _story_of(module, record), record, valid).items()
    ]
    if sheet.vin and not any(module.vin for module in sheet.modules):
        found += _vehicle_vin(sheet, record)
    return found


def _story_of(module: ModuleAsked, record: Record) -> Story | None:
    if module.link is not None:
        key = module.link.key.partition(":")[2]
        for story in record.stories:
            if story.link.key.partition(":")[2] == key and module.link.channel in ("", story.link.channel):
                return story
    return next((story for story in record.stories if story.label == module.label), None)


@dataclass
class _Module:
    sheet: JobSheet
    asked: ModuleAsked
    story: Story | None
    record: Record
    operations: Sequence[Operation]

    def items(self) -> Iterator[Expectation]:
        for item, value in self.asked.programming:
            yield self._identity(item, value)
        if self.asked.vin:
            yield self._vin()
        for asked in self.asked.trims:
            yield self._value(asked, "trim")
        for asked in self.asked.configuration:
            yield self._value(asked, "configuration")
        for routine in self.asked.learn:
            yield self._learn(routine)
        if self.asked.clear_faults:
            yield self._clear()

    @property
    def _readings(self) -> tuple[Reading, ...]:
        return self.record.readings(self.story) if self.story is not None else ()

    def _own(self, *kinds: Kind) -> list[Operation]:
        if self.story is None:
            return []
        return [item for item in self.operations if item.kind in kinds and item.link.key == self.story.link.key]

    def _make(
        self,
        item: str,
        part: Part,
        asked: str,
        word: Word,
        *,
        found: str | None = None,
        operation: Operation | None = None,
        reading: Reading | None = None,
        confidence: Confidence | None = None,
        note: str = "",
        would_change: str = "",
    ) -> Expectation:
        sure = confidence or (operation.outcome.confidence if operation else Confidence.HIGH)
        shown: tuple[Evidence, ...] = ()
        if reading is not None:
            shown = (evidence(reading.exchange, f"{reading.title} reads {_shown(reading.raw)}"),)
            if word is Word.CONFIRMED and spoils(shown[0], self.record.troubles, reading.exchange.link.channel):
                word, sure, note = Word.UNPROVEN, Confidence.MEDIUM, SPOILT
        elif operation is not None:
            shown = operation.outcome.proof
        wish = would_change or (operation.outcome.would_change if operation and word is not Word.CONFIRMED else "")
        return Expectation(
            f"{self.asked.label}: {item}", part, self.story.link.key if self.story else None, asked, found, word,
            sure, note, "" if word is Word.CONFIRMED else wish or f"do it and capture it: {item}",
            operation.number if operation else None, shown,
        )  # fmt: skip

    # programming

    def _identity(self, item: str, value: str) -> Expectation:
        downloads = [
            one for one in self._own(Kind.DOWNLOAD, Kind.FILE) if one.part is Part.PROGRAMMING
        ]  # fmt: skip
        deciding = _deciding(downloads)
        readings = self._since_programming(downloads)
        matches = [one for one in readings if _is_value(one.raw, value) and self._may_be(item, one)]
        candidates = [one for one in readings if self._is(item, one)]
        last = candidates[-1] if candidates else None
        if matches and (last is None or _is_value(last.raw, value)):
            broken = deciding is not None and deciding.outcome.word in (Word.FAILED, Word.INTERRUPTED)
            if not broken:
                note = "" if downloads else "read only: no programming is in the capture"
                return self._make(
                    item, Part.PROGRAMMING, value, Word.CONFIRMED, found=_shown(matches[-1].raw), reading=matches[-1],
                    confidence=self._sure(item, matches[-1], deciding), note=note, operation=deciding,
                )  # fmt: skip
        if deciding is not None and deciding.outcome.word in (Word.FAILED, Word.INTERRUPTED):
            return self._make(item, Part.PROGRAMMING, value, deciding.outcome.word, operation=deciding)
        if last is not None and downloads:
            note = f"{last.title} reads {_shown(last.raw)}"
            return self._make(
                item, Part.PROGRAMMING, value, Word.FAILED, found=_shown(last.raw), reading=last, operation=deciding,
                confidence=Confidence.HIGH, note=note, would_change=f"program the {item} asked for: {value}",
            )  # fmt: skip
        if deciding is not None:
            return self._make(
                item, Part.PROGRAMMING, value, Word.UNPROVEN, operation=deciding,
                note="programmed, but not read since the restart",
                would_change=f"read the {item} of {self.asked.label} after an ignition cycle and capture it",
            )  # fmt: skip
        found = _shown(last.raw) if last is not None else None
        return self._make(item, Part.PROGRAMMING, value, Word.NOT_SHOWN, found=found)

    def _sure(self, item: str, reading: Reading, deciding: Operation | None) -> Confidence:
        """No surer than the download it identifies; an identifier known only by its value is not quite sure."""
        own = Confidence.HIGH if self._is(item, reading) else Confidence.MEDIUM
        return least_sure([own, *([deciding.outcome.confidence] if deciding else [])])

    def _since_programming(self, downloads: Sequence[Operation]) -> list[Reading]:
        """Readings behind the first restart after the last download; all of them without a download.

        What a boot loader says of itself is none of them.
        """
        if self.story is None:
            return []
        readings = [one for one in self._readings if not self.story.is_boot_loader(one.exchange)]
        if not downloads:
            return readings
        last = max(one.begin for one in downloads)
        exits = [item.end for item in self.story.exchanges if item.begin >= last and item.service in (0x36, 0x37)]
        start = self.story.start_after(max(exits, default=last))
        return [one for one in readings if start is not None and one.place > start.place]

    def _is(self, item: str, reading: Reading) -> bool:
        """A reading that tells this item, whatever its value."""
        is_cvn = reading.identifier == OBD_CVN or (
            reading.name is not None and any(word in reading.name.name.lower() for word in ("verification", "cvn"))
        )
        if item == "cvn":
            return is_cvn
        if is_cvn or (reading.kind not in ("identification",) and reading.identifier not in CALIBRATION_INFO):
            return False
        if item == "calibration":
            return reading.part == "calibration" or reading.identifier in (APPLICATION_DATA, OBD_CALIBRATION)
        return reading.part == "application" or (
            not reading.part and reading.identifier in (SOFTWARE_NUMBER, SOFTWARE_VERSION)
        )

    def _may_be(self, item: str, reading: Reading) -> bool:
        """A reading that could tell this item if its value says so."""
        return self._is(item, reading) or tells_software(reading.identifier) or (
            0xF1A0 <= reading.identifier <= 0xF1EF and not reading.written_by_tester and not reading.part
        )  # fmt: skip

    # values

    def _vin(self) -> Expectation:
        vin = self.sheet.vin
        if self.asked.vin == "write":
            return self._state("VIN", Part.VIN, VIN, vin.encode(), vin, is_act=True)
        last = self._last(VIN)
        if last is None:
            return self._make("VIN", Part.VIN, vin, Word.NOT_SHOWN, would_change="read F190 and capture it")
        if not _is_value(last.raw, vin):
            return self._make("VIN", Part.VIN, vin, Word.FAILED, found=_shown(last.raw), reading=last)
        return self._read("VIN", Part.VIN, vin, last, "")

    def _value(self, asked: ValueAsked, what: str) -> Expectation:
        title = title_of(asked.identifier, self.record.names.identifier(self.asked.label, asked.identifier))
        if asked.value is not None:
            return self._state(f"{what} {title}", Part.TRIMS, asked.identifier, asked.value, asked.value.hex().upper())
        source = self._source(asked)
        text = f"as in {asked.copied_from}"
        if source is not None:
            text += f": {source.raw.hex().upper()}"
        return self._state(
            f"{what} {title}", Part.TRIMS, asked.identifier, source.raw if source else None, text, is_act=True
        )

    def _source(self, asked: ValueAsked) -> Reading | None:
        module = self.sheet.module(asked.copied_from)
        story = _story_of(module, self.record) if module else None
        if story is None:
            return None
        found = [one for one in self.record.readings(story) if one.identifier == asked.identifier]
        return found[-1] if found else None

    def _last(self, identifier: int) -> Reading | None:
        found = [one for one in self._readings if one.identifier == identifier]
        return found[-1] if found else None

    def _state(
        self, item: str, part: Part, identifier: int, value: bytes | None, asked: str, *, is_act: bool = False
    ) -> Expectation:
        writes = [one for one in self._own(Kind.WRITE) if one.details["identifier"] == f"{identifier:04X}"]
        operation = writes[-1] if writes else None
        last = self._last(identifier)
        if operation is None:
            return self._only_read(item, part, value, asked, last, is_act=is_act)
        read_back = operation.details["read_back"]
        found = _shown(bytes.fromhex(str(read_back))) if read_back is not None else None
        word = operation.outcome.word
        if value is None:
            word = Word.UNPROVEN if word is Word.CONFIRMED else word
            return self._make(
                item, part, asked, word, found=found, operation=operation,
                note="the source's value is not in the capture, so nothing can be compared",
                would_change="read the source module and capture it",
            )  # fmt: skip
        written = operation.details["written"]
        if written is not None and not self._is_same(identifier, str(written), value) and word is not Word.INTERRUPTED:
            return self._make(
                item, part, asked, Word.FAILED, found=found, operation=operation, confidence=Confidence.HIGH,
                note=f"written was {_shown(bytes.fromhex(str(written)))}",
                would_change="write the value asked for and read it after an ignition cycle",
            )  # fmt: skip
        was_so = operation.details["before"] == written == operation.details["read_back"]
        if word is Word.UNPROVEN and was_so and last is not None and last.raw == value:
            return self._read(item, part, asked, last, "the value was there before the write already", operation)
        return self._make(item, part, asked, word, found=found, operation=operation)

    def _read(
        self, item: str, part: Part, asked: str, last: Reading, note: str, operation: Operation | None = None
    ) -> Expectation:
        """The value asked for was read: it is there, unless memory was erased since."""
        word, wish = Word.CONFIRMED, ""
        if self.story is not None and memory_erased_behind(last.exchange.end, self.story, self.record.names):
            word, note = Word.UNPROVEN, ERASED
            wish = f"read {last.identifier:04X} after an ignition cycle and capture it"
        return self._make(
            item, part, asked, word, found=_shown(last.raw), reading=last, operation=operation, note=note,
            would_change=wish,
        )  # fmt: skip

    def _is_same(self, identifier: int, written: str, value: bytes) -> bool:
        """The bytes asked for, fields aside that names say to ignore."""
        name = self.record.names.identifier(self.story.label if self.story else None, identifier)
        data = bytes.fromhex(written)
        return data == value or (name is not None and name.equal_ignoring(data, value))

    def _only_read(
        self, item: str, part: Part, value: bytes | None, asked: str, last: Reading | None, *, is_act: bool
    ) -> Expectation:
        """Reading alone fulfils an item that asks for a value, never one that asks for an act (write, copy)."""
        if last is not None and value is not None and last.raw == value and not is_act:
            return self._read(item, part, asked, last, "confirmed by reading; no write is in the capture")
        found = _shown(last.raw) if last is not None else None
        wish = f"write {item}, read it after an ignition cycle and capture it"
        return self._make(item, part, asked, Word.NOT_SHOWN, found=found, would_change=wish)

    # acts

    def _learn(self, routine: int) -> Expectation:
        runs = [one for one in self._own(Kind.ROUTINE) if one.details["identifier"] == f"{routine:04X}"]
        name = self.record.names.routine(self.asked.label, routine)
        item = f"learn routine {routine:04X}" + (f" ({name.name})" if name else "")
        if not runs:
            return self._make(item, Part.LEARN, "done", Word.NOT_SHOWN)
        last = runs[-1]
        return self._make(
            item, Part.LEARN, "done", last.outcome.word, found=str(last.details["meaning"]), operation=last
        )  # fmt: skip

    def _clear(self) -> Expectation:
        clears = self._own(Kind.CLEAR)
        if not clears:
            return self._make("faults cleared", Part.FAULT_MEMORY, "cleared", Word.NOT_SHOWN)
        last = clears[-1]
        found = "; ".join(last.outcome.because[:1])
        return self._make(
            "faults cleared", Part.FAULT_MEMORY, "cleared", last.outcome.word, found=found, operation=last
        )  # fmt: skip


def _vehicle_vin(sheet: JobSheet, record: Record) -> list[Expectation]:
    """The vehicle's VIN as its modules say it; no item when none was asked.

    It tells which vehicle the job was on, so a reading in front of the programming is enough.
    """
    latest: dict[str, Reading] = {}
    for story in record.stories:
        for reading in record.readings(story):
            if reading.identifier == VIN and sheet.module(story.label) is not None:
                latest[story.label] = reading
    if not latest:
        return []
    wrong = {label: one for label, one in latest.items() if not _is_value(one.raw, sheet.vin)}
    deciding = next(iter((wrong or latest).values()))
    shown = tuple(
        evidence(one.exchange, f"{label} says {_shown(one.raw)}") for label, one in (wrong or latest).items()
    )  # fmt: skip
    word, note, wish = Word.CONFIRMED, "read only: no write of the VIN was asked for", ""
    if wrong:
        word, wish = Word.FAILED, "write the right VIN and read it after an ignition cycle"
    elif any(
        spoils(item, record.troubles, one.exchange.link.channel)
        for item, one in zip(shown, latest.values(), strict=True)
    ):
        word, note = Word.UNPROVEN, SPOILT
    return [
        Expectation(
            "vehicle: VIN", Part.VIN, None, sheet.vin, _shown(deciding.raw), word, Confidence.HIGH, note, wish, None,
            shown,
        )
    ]  # fmt: skip


def _deciding(operations: Iterable[Operation]) -> Operation | None:
    """The worst of several operations."""
    found = list(operations)
    word = worst(one.outcome.word for one in found)
    return next((one for one in found if one.outcome.word is word), None)


def _is_value(raw: bytes, value: str) -> bool:
    """The bytes are the text asked for (fill bytes aside), or its hex."""
    text = raw.strip(b"\0\xff ").decode("ascii", "replace")
    return text == value.strip() or raw.hex().upper() == value.replace(" ", "").upper()


def _shown(raw: bytes) -> str:
    """Text where the bytes are text, else hex."""
    text = raw.strip(b"\0\xff ")
    if len(text) >= 4 and all(0x20 <= byte < 0x7F for byte in text):
        return text.decode("ascii")
    return raw.hex().upper()
