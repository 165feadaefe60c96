"""The vehicle's VIN as its modules say it: which vehicle the job was on.

A reading in front of the programming is enough. The modules of the sheet decide; where none of them said a VIN,
the others of the same capture tell the vehicle, less surely.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.operations.model import Part, evidence
from analysis.record import Record
from analysis.sheet.items.item import Expectation, is_spoilt, stories_of
from analysis.sheet.jobsheet import JobSheet
from analysis.trust.doubts import SPOILT
from analysis.vins import LastVin, last_vins
from analysis.words import Confidence, Evidence, Word

READ_ONLY = "read only: no write of the VIN was asked for"


def vehicle_item(sheet: JobSheet, record: Record) -> Expectation:
    """Confirmed as read; failed where a module says otherwise; not shown where none was asked."""
    keys = {story.link.key for module in sheet.modules for story in stories_of(module, record)}
    said = last_vins(record)
    own = [one for one in said if one.story.link.key in keys]
    deciding = own or said
    if not deciding:
        return _item(sheet, Word.NOT_SHOWN, wish="read the VIN of the sheet's modules and capture it")
    wrong = [one for one in deciding if one.text != sheet.vin]
    if wrong and not own and len(wrong) < len(deciding):
        return _item(
            sheet, Word.NOT_SHOWN, deciding, note="modules that are not on the sheet say different VINs",
            wish="read the VIN of the sheet's modules and capture it",
        )  # fmt: skip
    if wrong:
        wish = "compare the VIN on the sheet with the plate on the vehicle, and see that sheet and recording fit"
        return _item(sheet, Word.FAILED, wrong, wish=wish)
    shown = _shown(deciding)
    if any(is_spoilt(one.reading, item, record.troubles) for one, item in zip(deciding, shown, strict=True)):
        return _item(sheet, Word.UNPROVEN, deciding, note=SPOILT, wish="read the VIN again and capture it")
    if not own:
        labels = ", ".join(one.story.label for one in deciding)
        note = f"said by {labels}, not by a module of the sheet"
        return _item(sheet, Word.CONFIRMED, deciding, note=note, sure=Confidence.MEDIUM)
    return _item(sheet, Word.CONFIRMED, deciding, note=READ_ONLY)


def _shown(said: Sequence[LastVin]) -> tuple[Evidence, ...]:
    return tuple(evidence(one.reading.exchange, f"{one.story.label} says {one.text}") for one in said)


def _item(
    sheet: JobSheet,
    word: Word,
    said: Sequence[LastVin] = (),
    *,
    note: str = "",
    wish: str = "",
    sure: Confidence = Confidence.HIGH,
) -> Expectation:
    found = ", ".join(dict.fromkeys(one.text for one in said)) or None
    return Expectation(
        "vehicle: VIN", Part.VIN, None, sheet.vin, found, word, sure, note, wish, None, _shown(said)
    )  # fmt: skip
