"""Tokens of the contract as a person of the trade says them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from analysis.report.contract import OperationDict, ReportDict

WORD: Final[Mapping[str, str]] = {
    "confirmed": "confirmed",
    "unproven": "completed, not proven",
    "failed": "failed",
    "interrupted": "interrupted",
    "not-shown": "not shown",
}
WORD_COLOUR: Final[Mapping[str, str]] = {
    "confirmed": "good",
    "unproven": "doubtful",
    "failed": "bad",
    "interrupted": "bad",
    "not-shown": "plain",
}
#: Room for the longest of the five words.
WORD_WIDTH: Final = max(len(word) for word in WORD.values())

PART: Final[Mapping[str, str]] = {
    "programming": "Programming",
    "trims": "Trims, configuration",
    "vin": "VIN",
    "fault_memory": "Fault memory",
    "learn": "Learn routines",
}
NOW: Final[Mapping[str, str]] = {
    "application": "runs its application",
    "boot": "is in boot mode only: the application does not run",
    "silent": "is silent: it does not answer",
    "unknown": "is in a state that this capture does not show",
}
NOW_COLOUR: Final[Mapping[str, str]] = {
    "application": "good",
    "boot": "bad",
    "silent": "bad",
    "unknown": "doubtful",
}
MAY_RETRY: Final[Mapping[str, str]] = {
    "yes": "yes",
    "with-care": "yes, with care",
    "no": "no",
    "unknown": "cannot be said from this capture",
}
FITNESS_COLOUR: Final[Mapping[str, str]] = {"good": "good", "limited": "doubtful", "poor": "bad"}
SEVERITY_COLOUR: Final[Mapping[str, str]] = {"note": "plain", "warning": "doubtful", "serious": "bad"}

KIND: Final[Mapping[str, str]] = {
    "download": "download",
    "upload": "read-out of memory",
    "file": "file transfer",
    "write": "write",
    "routine": "routine",
    "unlock": "unlock",
    "session": "session",
    "reset": "reset",
    "identity": "identity read",
    "communication": "communication control",
    "clear": "clear fault memory",
    "read-faults": "read fault memory",
}
STAGE: Final[Mapping[str, str]] = {
    "before-session": "before the programming session",
    "before-erase": "in the programming session, before the erase",
    "in-erase": "in the erase",
    "in-transfer": "in the transfer",
    "before-check": "after the transfer, before the check",
    "in-check": "in the check",
    "before-reset": "after the check, before the reset",
    "after-reset": "after the reset",
    "unknown": "not known",
}
SILENT_FIRST: Final[Mapping[str, str]] = {
    "module": "the module",
    "tester": "the tester",
    "everything": "everything at once",
    "nobody": "nobody: nothing was left open",
    "capture-ended": "not known: the recording ended first",
    "unknown": "not known",
}
#: Acts that change nothing in a module.
READING_KINDS: Final = frozenset({"identity", "read-faults", "session", "unlock", "upload"})


def counted(number: int, one: str, many: str = "") -> str:
    """``1 frame``, ``1,200 frames``."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def at_lines(lines: Sequence[int], capture: int, captures: int) -> str:
    """``line 7``, ``lines 7-12``; with the capture's number where there are several."""
    where = f", capture {capture}" if captures > 1 else ""
    if len(lines) == 1:
        return f"line {lines[0]}{where}"
    if len(lines) == 2:
        return f"lines {lines[0]}-{lines[1]}{where}"
    shown = ", ".join(str(line) for line in lines[:6])
    return f"lines {shown}{', ...' if len(lines) > 6 else ''}{where}"


def seconds(time_ns: int | None, start_ns: int = 0) -> str:
    """Seconds with three digits, by integer arithmetic; empty without a clock."""
    if time_ns is None:
        return ""
    thousandths = (time_ns - start_ns) // 1_000_000
    sign = "-" if thousandths < 0 else ""
    return f"{sign}{abs(thousandths) // 1000}.{abs(thousandths) % 1000:03d}"


def labels(report: ReportDict) -> dict[str, str]:
    """Link key to what a person calls the module; the key where nothing names it."""
    return {link["link"]: link["label"] or link["link"] for link in report["links"]}


def nothing_attempted(report: ReportDict) -> bool:
    """No part of the job was begun, and nobody asked for one."""
    parts = report["verdict"]["parts"]
    words = [parts["programming"], parts["trims"], parts["vin"], parts["fault_memory"], parts["learn"]]
    return not report["expectations"] and all(part["word"] == "not-shown" for part in words)


def only_read(report: ReportDict) -> bool:
    """Nothing was attempted and nothing was even switched: the capture of a scan."""
    return nothing_attempted(report) and all(item["kind"] in READING_KINDS for item in report["operations"])


def act(operation: OperationDict) -> str:
    """An operation in one phrase."""
    details = operation["details"]
    kind = operation["kind"]
    named = _named(details)
    if kind in ("download", "upload", "file"):
        return f"{_transfer_name(operation)}{_transferred(details)}"
    return f"{KIND[kind]} {named}" if named else KIND[kind]


def _transfer_name(operation: OperationDict) -> str:
    if operation["kind"] == "download" and operation["details"].get("driver"):
        return "helper program to RAM"
    return KIND[operation["kind"]]


def _transferred(details: Mapping[str, object]) -> str:
    carried, asked, blocks = details.get("size_carried"), details.get("size_asked"), details.get("blocks")
    text = ""
    if isinstance(carried, int):
        text = f", {counted(carried, 'byte')}"
        if isinstance(asked, int) and asked != carried:
            text = f", {carried:,} of {counted(asked, 'byte')}"
    if isinstance(blocks, int):
        text += f" in {counted(blocks, 'block')}"
    if details.get("address"):
        text += f", address {details['address']}"
    return text


def _named(details: Mapping[str, object]) -> str:
    """The thing acted on: identifier, routine, session … with its name."""
    for field in ("identifier", "routine", "session", "level", "reset", "control", "group"):
        value = details.get(field)
        if value not in (None, ""):
            name = details.get("name")
            return f"{value} ({name})" if name else str(value)
    return ""
