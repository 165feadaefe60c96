"""Fault codes that were read, with the bits of their status that people ask for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.report import wording
from analysis.report.contract import OperationDict, ReportDict
from analysis.report.lines import Lines
from analysis.report.texts import say

#: Bits of a status byte that have a text; the others follow from them or say what was not tested.
#: ISO 14229-1:2020, annex D.2 (M).
BITS: tuple[tuple[int, str], ...] = (
    (0x01, "faults.now"), (0x04, "faults.pending"), (0x08, "faults.confirmed"), (0x10, "faults.not-tested"),
    (0x80, "faults.lamp"),
)  # fmt: skip
CONFIRMED = 0x08
PROGRAMMING_KINDS = ("download", "file")
STORED, PENDING, PERMANENT, SOME = "stored", "pending", "permanent", "some"
Readings = Mapping[str, Mapping[str, Sequence[OperationDict]]]


def faults_read(report: ReportDict) -> Readings:
    """Answers that list codes, or none, in order: of each link, and there each sort (stored, pending, …) apart."""
    found: dict[str, dict[str, list[OperationDict]]] = {}
    for item in report["operations"]:
        if item["kind"] == "read-faults" and item["details"].get("mask") is not None:
            sort = str(item["details"].get("listed") or STORED)
            found.setdefault(item["link"], {}).setdefault(sort, []).append(item)
    return found


def fault_codes_read(page: Lines, report: ReportDict, faults: Readings) -> None:
    """In a job: what each fault memory held at the first and at the last reading, where it held anything."""
    told = [
        (link, sort, lists)
        for link, sorts in faults.items()
        for sort, lists in sorts.items()
        if any(one["details"]["codes"] for one in lists)
    ]
    if not told:
        return
    page.heading(say("fault-codes-that-were-read.heading"))
    names = wording.labels(report)
    for link, sort, lists in told:
        first, last, once = say("faults.first"), say("faults.last"), say("faults.once")
        shown = {first: lists[0], last: lists[-1]} if len(lists) > 1 else {once: lists[0]}
        for when, one in shown.items():
            is_old = when != first and _is_before_programming(one, report)
            said = say("faults.before-programming", when=when) if is_old else when
            who = _of_sort(names.get(link, link), sort)
            page.text(say("faults.line", who=who, when=said, codes=said_codes(one)), hang=2)
    if any(sort == PERMANENT for _, sort, _ in told):
        page.note(say("faults.permanent-stay"))


def _of_sort(who: str, sort: str) -> str:
    key = {PENDING: "faults.pending-ones", PERMANENT: "faults.permanent-ones", SOME: "faults.some-ones"}.get(sort)
    return say(key, who=who) if key else who


def _is_before_programming(one: OperationDict, report: ReportDict) -> bool:
    """The module was programmed, and not read since: what the list says is of the old software."""
    same = [item for item in report["operations"] if item["link"] == one["link"] and item["kind"] in PROGRAMMING_KINDS]
    return bool(same) and all(one["number"] < item["number"] for item in same)


def said_codes(item: OperationDict) -> str:
    """``P17A3-96, status 2F (failed now, confirmed)``; ``no codes``, with the mask where it hides some."""
    details: Mapping[str, Any] = item["details"]
    said = "; ".join(_said(_named(one), one["status"], details["sub_function"]) for one in details["codes"])
    hides = not int(details["mask"], 16) & CONFIRMED
    return said or (say("faults.none-under-mask", mask=details["mask"]) if hides else say("faults.none"))


def _named(one: Mapping[str, str]) -> str:
    return say("faults.named", code=one["code"], name=one["name"]) if one.get("name") else one["code"]


def _said(code: str, status: str, sub_function: str) -> str:
    """Only lists of 19 have a status byte whose bits are standard."""
    if sub_function == "00":
        return code
    words = ", ".join(say(text) for bit, text in BITS if int(status, 16) & bit)
    return say("faults.code-in-words" if words else "faults.code", code=code, status=status, words=words)
