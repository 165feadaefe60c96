"""What an item of the sheet is, and one module of the sheet beside what the captures hold of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from analysis.operations.clock_order import Reversal, reversals
from analysis.operations.model import Kind, Operation, Part, evidence
from analysis.readings import Reading
from analysis.record import Record
from analysis.sheet.items.in_words import said
from analysis.sheet.jobsheet import JobSheet, ModuleAsked
from analysis.story import Story, is_same_module
from analysis.trust.doubts import SPOILT, Troubles, spoils
from analysis.words import WORST_FIRST, Confidence, Evidence, Word, least_sure

#: The note of an item whose act is not in the captures, though its value is what the sheet asks for.
AS_ASKED = "reads as asked"
READS_AS_ASKED = f"not {{done}} in this capture; {AS_ASKED}"
#: The note of every item of a module that is not in the captures.
NOT_HERE = "is not in this recording"
#: What a job does to a module.
ACTS = (Kind.DOWNLOAD, Kind.FILE, Kind.WRITE, Kind.ROUTINE, Kind.CLEAR)


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

    @property
    def may_be_done(self) -> bool:
        """Its act is not in the captures, and the module holds what it would have brought."""
        return self.word is Word.NOT_SHOWN and self.found is not None and self.note.endswith(AS_ASKED)

    @property
    def is_of_absent_module(self) -> bool:
        """Nobody spoke with its module; the note says which one."""
        return self.link is None and self.note.endswith(NOT_HERE)


@dataclass(frozen=True)
class Subject:
    """One module of the sheet. ``story`` None: it is not in the captures."""

    sheet: JobSheet
    asked: ModuleAsked
    story: Story | None
    record: Record
    operations: Sequence[Operation]  # those that no later attempt replaced

    @property
    def label(self) -> str:
        """What the sheet calls it."""
        return self.asked.label

    @property
    def readings(self) -> tuple[Reading, ...]:
        """All values read from it, in order."""
        return self.record.readings(self.story) if self.story is not None else ()

    def own(self, *kinds: Kind) -> list[Operation]:
        """What was done to it, whoever did it."""
        if self.story is None:
            return []
        link = self.story.link
        return [one for one in self.operations if one.kind in kinds and is_same_module(one.link, link)]

    @cached_property
    def reversals(self) -> list[Reversal]:
        """Where the clock leaves open what of it came last."""
        return reversals(self.record, self.own(*ACTS))

    def item(
        self,
        title: str,
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
        """An item with its evidence: the reading that decides it, else the proof of the operation.

        Confirmed by a reading whose frames are damaged, it is not proven.
        """
        sure = confidence or (operation.outcome.confidence if operation else Confidence.HIGH)
        if self.story is None:
            note = f"{self.asked.called} {NOT_HERE}"
        shown: tuple[Evidence, ...] = ()
        if reading is not None:
            shown = (evidence(reading.exchange, f"{reading.title} reads {said(reading.raw)}"),)
            if word is Word.CONFIRMED and is_spoilt(reading, shown[0], self.record.troubles):
                word, sure, note = Word.UNPROVEN, Confidence.MEDIUM, SPOILT
                would_change = f"read {reading.title} of {self.label} again and capture it"
            if any(step.leaves_open(reading.exchange) for step in self.reversals):
                sure = least_sure([sure, Confidence.MEDIUM])
        elif operation is not None:
            shown = operation.outcome.proof
        if word is Word.CONFIRMED:
            would_change = ""
        elif not would_change and operation is not None:
            would_change = operation.outcome.would_change
        return Expectation(
            f"{self.label}: {title}", part, self.story.link.key if self.story else None, asked, found, word, sure,
            note, would_change, operation.number if operation else None, shown,
        )  # fmt: skip


def deciding(acts: Sequence[Operation]) -> Operation:
    """The last of several that nothing replaced; of equal ones, whose order the clock leaves open, the worst."""
    equal = [one for one in acts if one.subject == acts[-1].subject]
    return min(reversed(equal), key=lambda one: WORST_FIRST.index(one.outcome.word))


def is_spoilt(reading: Reading, shown: Evidence, troubles: Mapping[int, Troubles]) -> bool:
    """The frames of a reading are damaged, lost or out of order."""
    return spoils(shown, troubles, reading.exchange.link.channel)


def stories_of(module: ModuleAsked, record: Record) -> list[Story]:
    """The modules that the sheet may mean: by its link where the sheet gives one, else by its label.

    A module with another link is another module, whatever it is called. One link is several modules where it is
    found on several channels and the sheet names none.
    """
    if module.link is None:
        return [story for story in record.stories if story.own and story.label == module.label]
    key = module.link.key.partition(":")[2]
    return [
        story
        for story in record.stories
        if story.own and story.link.key.partition(":")[2] == key and module.link.channel in ("", story.link.channel)
    ]
