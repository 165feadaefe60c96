"""The job sheet's items, each with a word of its own.

An operation says what happened on the bus; an item says whether what was asked for is there. So an item about a
state can be confirmed by reading alone, and a sound download can still leave an item failed (another calibration).
What the sheet asks for always has an item: a part of the job that was asked for is never answered by what was done
to modules that the sheet does not mean.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from analysis.operations.find import standing
from analysis.operations.model import Operation
from analysis.record import Record
from analysis.sheet.items.acts import act_items
from analysis.sheet.items.identity import identity_items
from analysis.sheet.items.item import Expectation as Expectation
from analysis.sheet.items.item import Subject, stories_of
from analysis.sheet.items.values import value_items
from analysis.sheet.items.vehicle import vehicle_item
from analysis.sheet.jobsheet import JobSheet, ModuleAsked
from analysis.story import Story
from analysis.trust.mute import SINCE_RESTART, mute_modules
from analysis.trust.overlaps import DECIDED, IN_BOTH, WISH, rests_on_overlap
from analysis.vins import other_vehicle
from analysis.words import WORST_FIRST, Confidence, Word, least_sure

#: What a module can be asked for, in the order of a report.
ITEMS = (identity_items, value_items, act_items)


def judge_sheet(sheet: JobSheet, record: Record, operations: Sequence[Operation]) -> list[Expectation]:
    """Every item of the sheet, in the order of the sheet."""
    found = [item for module in sheet.modules for item in _of_module(sheet, module, record, standing(operations))]
    found = list(_still_answering(_in_order(found, record, operations), record))
    other = other_vehicle(sheet.vin, record)
    if other:
        found = [_of_another(item, other) for item in found]
    if sheet.vin and (other or not any(module.vin for module in sheet.modules)):
        vehicle = vehicle_item(sheet, record)
        found.append(_of_another(vehicle, other) if other and vehicle.word is Word.CONFIRMED else vehicle)
    return found


def _in_order(items: Sequence[Expectation], record: Record, operations: Sequence[Operation]) -> Iterator[Expectation]:
    """The items; undecided where all that decides one was read in a capture that ran while its module was changed."""
    borders = record.shared_time
    for item in items:
        acts = [one for one in operations if one.part is not None and one.link.key == item.link]
        if item.word in DECIDED and rests_on_overlap(item.evidence, acts, borders):
            yield replace(item, word=Word.UNPROVEN, note=IN_BOTH, would_change=WISH)
        else:
            yield item


def _still_answering(items: Iterable[Expectation], record: Record) -> Iterator[Expectation]:
    """The items; not proven where all that shows one was seen in front of a restart that the module is mute since."""
    mutes = mute_modules(record)
    for item in items:
        mute = mutes.get(item.link or "")
        if mute is None or item.word is not Word.CONFIRMED:
            yield item
        elif mute.takes_away(item.evidence):
            sure = least_sure([item.confidence, Confidence.MEDIUM])
            yield replace(item, word=Word.UNPROVEN, confidence=sure, note=SINCE_RESTART, would_change=mute.wish)
        else:
            yield replace(item, confidence=least_sure([item.confidence, Confidence.MEDIUM]))


def _of_module(
    sheet: JobSheet, module: ModuleAsked, record: Record, operations: Sequence[Operation]
) -> Iterator[Expectation]:
    """Each item of one module; the worse where its link is found on two channels and either may be meant."""
    stories: list[Story | None] = [*stories_of(module, record)] or [None]
    subjects = [Subject(sheet, module, story, record, operations) for story in stories]
    for items in ITEMS:
        for alike in zip(*(items(subject) for subject in subjects), strict=True):
            item = min(alike, key=lambda one: WORST_FIRST.index(one.word))
            yield item if len({one.word for one in alike}) == 1 else _of_several(item, stories)


def _of_several(item: Expectation, stories: Sequence[Story | None]) -> Expectation:
    channels = " and ".join(story.link.channel for story in stories if story is not None)
    note = f"the link is on {channels}, and the sheet names no channel"
    return replace(item, note=note, would_change="give the channel in the link of the job sheet")


def _of_another(item: Expectation, vin: str) -> Expectation:
    """What was done to another vehicle answers nothing of this one, be the modules called alike."""
    return replace(
        item, word=Word.NOT_SHOWN, confidence=Confidence.HIGH, found=None, operation=None, evidence=(),
        note=f"a recording is of another vehicle: {vin}",
        would_change="make sure that job sheet and recording belong together",
    )  # fmt: skip
