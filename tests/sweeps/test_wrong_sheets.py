"""Good sessions with a sheet that asks for something else: what is not in the recording is never confirmed.

Each recording is read once and judged with many sheets: those of the other jobs, and its own with one thing changed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

from analysis import analyse
from analysis.job import judge
from analysis.report.model import Report
from analysis.sheet.expectations import judge_sheet
from analysis.sheet.jobsheet import JobSheet, ModuleAsked, ValueAsked, load_job_sheet
from analysis.words import Word
from canlog.isotp.addressing import parse_link

FIXTURES = Path(__file__).parents[2] / "fixtures"
WORLDS = ("coach", "van", "uds11")
#: Sessions in which the right sheet is wholly or nearly confirmed.
GOOD = (
    "coach-all-good", "coach-reflash", "coach-foreign-keeper", "van-wrong-calibration", "van-trims-firing-order",
    "uds11-all-good", "uds11-second-attempt-good", "uds11-doubled", "uds11-dtc-returns",
)  # fmt: skip
#: Of each world a module that is in its recordings and on no sheet as one to be worked on.
BYSTANDER = {"coach": "18DA31F1:18DAF131", "van": "705:70D", "uds11": "7E1:7E9"}


@cache
def report_of(fixture: str) -> Report:
    names = FIXTURES / f"{fixture.split('-')[0]}_names.toml"
    return analyse(FIXTURES / fixture / "capture.log", names=[names])


@cache
def sheet_of(world: str) -> JobSheet:
    return load_job_sheet(FIXTURES / f"{world}.toml")


def items_of(fixture: str, sheet: JobSheet) -> dict[str, Word]:
    report = report_of(fixture)
    return {item.item: item.word for item in judge_sheet(sheet, report.record, report.operations)}


class Change(NamedTuple):
    """A sheet with one thing changed, and how the items begin that must not be confirmed then."""

    what: str
    sheet: JobSheet
    items: tuple[str, ...]


def changes(world: str) -> Iterator[Change]:
    sheet = sheet_of(world)
    first = sheet.modules[0]
    vin = sheet.vin[:-1] + ("1" if sheet.vin[-1] != "1" else "2")
    yield Change("VIN", replace(sheet, vin=vin), (f"{first.label}: VIN" if first.vin else "vehicle: VIN",))
    yield Change(
        "VIN to be read", replace(with_first(sheet, replace(first, vin="read")), vin=vin), (f"{first.label}: VIN",)
    )  # fmt: skip
    yield Change("VIN alone", replace(sheet, vin=vin, modules=()), ("vehicle: VIN",))
    for at, (what, value) in enumerate(first.programming):
        programming = [*first.programming]
        programming[at] = (what, value[:-1] + ("0" if value[-1] != "0" else "1"))
        title = "CVN" if what == "cvn" else what
        yield Change(
            what, with_first(sheet, replace(first, programming=tuple(programming))), (f"{first.label}: {title}",)
        )
    for field in ("trims", "configuration"):
        for at, asked in enumerate(values := getattr(first, field)):
            for other in other_values(asked):
                changed = replace(first, **{field: (*values[:at], other, *values[at + 1 :])})
                what = "trim" if field == "trims" else field
                title = f"{first.label}: {what} {other.identifier:04X}"
                yield Change(f"{field} {asked.identifier:04X} {other}", with_first(sheet, changed), (title,))
    for routine in first.learn:
        changed = replace(first, learn=(routine + 1,))
        yield Change("routine", with_first(sheet, changed), (f"{first.label}: learn routine {routine + 1:04X}",))
    everything = (f"{first.label}: ",)
    yield Change("link of nobody", with_first(sheet, replace(first, link=parse_link("7A0:7A8"))), everything)
    yield Change("other channel", with_first(sheet, replace(first, link=parse_link("can7:7E0:7E8"))), everything)
    bystander = replace(first, link=parse_link(BYSTANDER[world]), clear_faults=False)
    yield Change("link of a bystander", with_first(sheet, bystander), everything)
    yield Change("label of nobody", with_first(sheet, replace(first, link=None, label="XYZ")), ("XYZ: ",))


def other_values(asked: ValueAsked) -> Iterator[ValueAsked]:
    """Another value, another identifier, a source that holds nothing of the kind."""
    yield replace(asked, identifier=asked.identifier ^ 0x0800)
    if asked.value is not None:
        yield replace(asked, value=asked.value[:-1] + bytes([asked.value[-1] ^ 1]))
        yield replace(asked, value=asked.value[:-1])
        yield replace(asked, value=asked.value + b"\0")
    else:
        yield replace(asked, copied_from="nobody")


def with_first(sheet: JobSheet, module: ModuleAsked) -> JobSheet:
    return replace(sheet, modules=(module, *sheet.modules[1:]))


@pytest.mark.parametrize("fixture", GOOD)
def test_what_a_changed_sheet_asks_for_is_not_confirmed(fixture: str) -> None:
    seen = 0
    for change in changes(fixture.split("-")[0]):
        words = items_of(fixture, change.sheet)
        touched = {item: word for item, word in words.items() if item.startswith(change.items)}
        assert touched, change.what
        assert Word.CONFIRMED not in touched.values(), (change.what, touched)
        seen += 1
    assert seen >= 10


@pytest.mark.parametrize("fixture", GOOD)
@pytest.mark.parametrize("world", WORLDS)
def test_the_sheet_of_another_job_is_confirmed_in_nothing_that_it_asks(fixture: str, world: str) -> None:
    if fixture.startswith(world):
        pytest.skip("its own sheet")
    report = judge(report_of(fixture).record, sheet_of(world), ())
    assert report.expectations
    assert Word.CONFIRMED not in {item.word for item in report.expectations}
    asked = {item.part for item in report.expectations}
    assert Word.CONFIRMED not in {report.verdict.parts[part].word for part in asked}
    assert report.verdict.overall is not Word.CONFIRMED
    seen = [item.id for item in report.findings]
    assert "sheet-of-another-job" in seen
    assert not {"vin-typed-wrong", "vin-disagrees"} & set(seen)
    assert seen.count("vin-foreign") == ("foreign" in fixture)
    assert "belong together" in report.verdict.headline
    assert "belong together" in report.verdict.next_steps[0]
    assert not any(step.startswith(("Write", "Program", "Choose", "Do what")) for step in report.verdict.next_steps)


@pytest.mark.parametrize("fixture", [one for one in GOOD if "foreign" not in one and "wrong" not in one])
def test_the_right_sheet_is_confirmed_with_the_same_reading(fixture: str) -> None:
    report = judge(report_of(fixture).record, sheet_of(fixture.split("-")[0]), ())
    confirmed = [item for item in report.expectations if item.word is Word.CONFIRMED]
    assert len(confirmed) >= 5
    assert "sheet-of-another-job" not in {item.id for item in report.findings}
