"""What vehicle and engine did while memories were written: a sentence for each signal and what it says."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from analysis.report import wording
from analysis.report.contract import MeanwhileDict, OperationDict, ReportDict
from analysis.report.lines import Lines
from analysis.report.texts import say
from canlog.counting import counted

SAID: Final = {
    "moving": "meanwhile.moving",
    "standing": "meanwhile.standing",
    "running": "meanwhile.running",
    "stopped": "meanwhile.stopped",
}
PROGRAMMING: Final = ("download", "file")


def meanwhile(page: Lines, report: ReportDict) -> None:
    """Vehicle and engine during the programming and the writes; nothing where no signal tells."""
    groups: dict[tuple[str, str, str, bool], list[MeanwhileDict]] = {}
    for item in report["meanwhile"]:
        is_programming = _kind(item, report) in PROGRAMMING
        groups.setdefault((item["moved"], item["signal"], item["link"], is_programming), []).append(item)
    if not groups:
        return
    page.heading(say("vehicle-and-engine-meanwhile.heading"))
    for (moved, signal, _, is_programming), items in groups.items():
        done = [_operation(item, report) for item in items]
        names = wording.labels(report)
        who = ", ".join(dict.fromkeys(names.get(one["link"], one["link"]) for one in done))
        what = (
            say("meanwhile.programming") if is_programming else counted(len({one["number"] for one in done}), "write")
        )
        where = wording.at_lines(_lines(items), items[0]["capture"], len(report["captures"]))
        values = _values(items)
        text = say(
            "meanwhile.line-with-values" if values else "meanwhile.line", who=who, what=what, said=say(SAID[moved]),
            signal=signal, values=values, unit=items[0]["unit"], where=where,
        )  # fmt: skip
        page.text(text, hang=2)


def _operation(item: MeanwhileDict, report: ReportDict) -> OperationDict:
    return report["operations"][item["operation"] - 1]


def _kind(item: MeanwhileDict, report: ReportDict) -> str:
    return str(_operation(item, report)["kind"])


def _lines(items: Sequence[MeanwhileDict]) -> list[int]:
    """First and last of one capture."""
    lines = [line for item in items if item["capture"] == items[0]["capture"] for line in item["lines"]]
    return sorted({min(lines), max(lines)})


def _values(items: Sequence[MeanwhileDict]) -> str:
    values = [value for item in items for value in (item["lowest"], item["highest"]) if value is not None]
    if not values:
        return ""
    low, high = f"{min(values):.0f}", f"{max(values):.0f}"
    return low if low == high else say("meanwhile.from-to", low=low, high=high)
