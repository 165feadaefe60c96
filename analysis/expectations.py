"""The job sheet's items, each with a word of its own.

An operation says what happened on the bus; an item says whether what was asked for is there. So an item about a
state can be confirmed by reading alone, and a sound download can still leave an item failed (another calibration).
What the sheet asks for always has an item: a part of the job that was asked for is never answered by what was done
to modules that the sheet does not mean.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.jobsheet import JobSheet
from analysis.operations.find import standing
from analysis.operations.model import Operation
from analysis.record import Record
from analysis.sheet_items.acts import act_items
from analysis.sheet_items.identity import identity_items
from analysis.sheet_items.item import Expectation as Expectation
from analysis.sheet_items.item import Subject
from analysis.sheet_items.values import value_items
from analysis.sheet_items.vehicle import vehicle_item
from analysis.vins import other_vehicle
from analysis.words import Confidence, Word

#: What a module can be asked for, in the order of a report.
ITEMS = (identity_items, value_items, act_items)


def judge_sheet(sheet: JobSheet, record: Record, operations: Sequence[Operation]) -> list[Expectation]:
    """Every item of the sheet, in the order of the sheet."""
    subjects = [Subject(sheet, module, record, standing(operations)) for module in sheet.modules]
    found = [item for subject in subjects for items in ITEMS for item in items(subject)]
    other = other_vehicle(sheet.vin, record)
    if other:
        found = [_of_another(item, other) for item in found]
    if sheet.vin and (other or not any(module.vin for module in sheet.modules)):
        found.append(vehicle_item(sheet, record))
    return found


def _of_another(item: Expectation, vin: str) -> Expectation:
    """What was done to another vehicle answers nothing of this one, be the modules called alike."""
    return replace(
        item, word=Word.NOT_SHOWN, confidence=Confidence.HIGH, found=None, operation=None, evidence=(),
        note=f"the recording is of another vehicle: {vin}",
        would_change="make sure that job sheet and recording belong together",
    )  # fmt: skip
