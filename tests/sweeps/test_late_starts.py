"""A recording that was started too late, at every border between messages: what is cut off proves nothing.

The extent of an act is read from the whole recording; in the late one nothing inside it may be confirmed.
Common practice, no source.
"""

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from analysis import analyse
from analysis.operations.model import Kind, Operation
from analysis.report.model import Report
from analysis.words import Word

FIXTURES = Path(__file__).parents[2] / "fixtures"
#: What belongs to an act itself, by its kind; what proves it comes behind.
SERVICES = {
    Kind.DOWNLOAD: (0x34, 0x36, 0x37), Kind.WRITE: (0x2E,), Kind.ROUTINE: (0x31,), Kind.CLEAR: (0x14,),
    Kind.RESET: (0x11,), Kind.SESSION: (0x10,), Kind.UNLOCK: (0x27,),
}  # fmt: skip
#: Fixture and how many borders are left out between two that are tried.
TRIED = (("uds11-all-good-short", 1), ("coach-all-good", 12), ("van-wrong-calibration", 30))
Extent = tuple[Kind, str, int, int]


def named(fixture: str) -> Path:
    return FIXTURES / f"{fixture.partition('-')[0]}_names.toml"


@cache
def whole(fixture: str) -> Report:
    return analyse(FIXTURES / fixture / "capture.log", names=[named(fixture)])


def extent(report: Report, operation: Operation) -> Extent | None:
    """Kind, link, first and last line of the act itself."""
    own = [report.record.exchanges[number - 1] for number in operation.exchanges]
    acts = [item for item in own if item.service in SERVICES.get(operation.kind, ())]
    if not acts:
        return None
    return operation.kind, operation.link.key, min(item.begin[1] for item in acts), max(item.end[1] for item in acts)


def borders(fixture: str) -> list[int]:
    """The last line of each message: a late recording begins behind it."""
    capture = whole(fixture).record.captures[0]
    return sorted({message.last_line for message in capture.messages})


def late(fixture: str, folder: Path, border: int) -> Report:
    lines = (FIXTURES / fixture / "capture.log").read_text().splitlines(keepends=True)
    path = folder / "late.log"
    path.write_text("".join(lines[border:]))
    return analyse(path, names=[named(fixture)])


def wrongly_confirmed(report: Report, cut: list[Extent], border: int) -> Iterator[str]:
    for item in report.operations:
        found = extent(report, item)
        if found is None or item.outcome.word is not Word.CONFIRMED:
            continue
        begin, end = found[2] + border, found[3] + border
        if any(one[:2] == found[:2] and one[2] <= begin and end <= one[3] for one in cut):
            yield f"behind line {border}: {item.kind} {item.subject}: {item.outcome.because}"


@pytest.mark.parametrize(("fixture", "step"), TRIED)
def test_an_act_whose_beginning_is_cut_off_is_never_confirmed(fixture: str, step: int, tmp_path: Path) -> None:
    extents = [found for item in whole(fixture).operations if (found := extent(whole(fixture), item))]
    wrong = []
    for border in borders(fixture)[:-1:step]:
        report = late(fixture, tmp_path, border)
        cut = [item for item in extents if item[2] <= border < item[3]]
        wrong += wrongly_confirmed(report, cut, border)
        if any(item[0] is Kind.DOWNLOAD for item in cut):
            capture = report.to_dict()["captures"][0]
            said = [*capture["fitness_reasons"], *report.cannot_show]
            if capture["fitness"] == "good" or sum("beginning of a transfer" in text for text in said) < 2:
                wrong.append(f"behind line {border}: {said}")
    assert not wrong
