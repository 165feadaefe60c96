"""Tokens of the contract as a person of the trade says them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from analysis.report.contract import OperationDict, ReportDict
from analysis.report.lines import Cell
from canlog.counting import counted

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
NOT_SHOWN: Final = "not-shown"
#: Instead of "not shown", where something is.
IN_PART: Final = "shown only in part"
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
    "application": "application running",
    "boot": "boot mode only, the application does not run",
    "silent": "silent, no answer comes",
    "unknown": "not shown what runs there",
}
NOW_COLOUR: Final[Mapping[str, str]] = {
    "application": "good",
    "boot": "bad",
    "silent": "bad",
    "unknown": "doubtful",
}
MAY_RETRY: Final[Mapping[str, str]] = {
    "not-needed": "not needed",
    "yes": "yes",
    "with-care": "yes, with care",
    "no": "not now",
    "unknown": "cannot be said from this capture",
}
FITNESS_COLOUR: Final[Mapping[str, str]] = {"good": "good", "limited": "doubtful", "poor": "bad"}
SEVERITY_COLOUR: Final[Mapping[str, str]] = {"note": "plain", "warning": "doubtful", "serious": "bad"}

KIND: Final[Mapping[str, str]] = {
    "download": "download",
    "upload": "read-out of memory",
    "file": "file transfer",
    "write": "write",
    "write-memory": "write by address",
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
    "branch": "several modules at once, while others went on",
    "all-but-tester": "everybody but the tester",
    "everything": "everything at once",
    "nobody": "nobody: nothing was left open",
    "capture-ended": "not known: the recording ended first",
    "unknown": "not known",
}
#: Findings whose caution belongs on the first screen: the vehicle may be driven away.
CAUTION_ON_TOP: Final = frozenset(
    {
        "calibration-not-expected",
        "communication-not-restored",
        "output-controlled",
        "trims-order-suspicious",
        "vin-foreign",
        "vin-typed-wrong",
    }
)
#: Acts that change nothing in a module.
READING_KINDS: Final = frozenset({"identity", "read-faults", "session", "unlock", "upload"})
#: Acts that only ask: nothing is to be proved about them.
ASKING_KINDS: Final = frozenset({"identity", "read-faults"})
#: Routines that are a step of programming.
STEPS_OF_A_DOWNLOAD: Final = frozenset({"erase", "check", "dependencies"})

#: Sub-functions of 10, 28 and 85 in words. ISO 14229-1:2020 (M).
SESSION: Final[Mapping[str, str]] = {
    "01": "default session",
    "02": "programming session",
    "03": "extended session",
}
#: Kinds of 11. ISO 14229-1:2020, 10.3 (M).
RESET: Final[Mapping[int, str]] = {
    1: "hard reset",
    2: "key off and on",
    3: "soft reset",
    4: "rapid power shutdown on",
    5: "rapid power shutdown off",
}
CONTROL: Final[Mapping[tuple[str, str], str]] = {
    ("28", "00"): "normal messages allowed",
    ("28", "01"): "sending of normal messages stopped",
    ("28", "02"): "receiving of normal messages stopped",
    ("28", "03"): "normal messages stopped",
    ("85", "01"): "storing of faults on",
    ("85", "02"): "storing of faults off",
}
#: The same where the dialect has a service for each.
QUIET: Final[Mapping[object, str]] = {True: "normal messages stopped", False: "normal messages allowed"}
NO_FAULTS: Final[Mapping[object, str]] = {True: "storing of faults off", False: "storing of faults on"}
#: How GMW3110 sends data packets (AA).
PACKET_RATE: Final[Mapping[int, str]] = {
    0: "stop", 1: "once", 2: "at the slow rate", 3: "at the medium rate", 4: "at the fast rate",
}  # fmt: skip
#: Dialects besides UDS, as people call them.
DIALECT: Final[Mapping[str, str]] = {
    "kwp2000": "KWP2000 (ISO 14230-3)",
    "gmw3110": "GMW3110",
    "obd": "emission diagnostics (SAE J1979)",
}


def word_cell(word: str, text: str = "", *below: str) -> Cell:
    """A cell that says one of the five words, as ``text`` where that is given."""
    return Cell(text or WORD[word], WORD_COLOUR[word], word, below)


def overall(report: ReportDict) -> str:
    """The word of the whole job; not a bare "not shown" above parts that are shown, wholly or in part."""
    verdict = report["verdict"]
    parts = verdict["parts"]
    each = (parts["programming"], parts["trims"], parts["vin"], parts["fault_memory"], parts["learn"])
    is_in_part = any(part["word"] != NOT_SHOWN or part["lacking"] for part in each)
    return IN_PART if verdict["overall"] == NOT_SHOWN and is_in_part else WORD[verdict["overall"]]


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


#: Said while trims are wrong or not shown to be stored (common practice, no source).
UNREAD_TRIMS: Final = "Do not start or drive before the trims are right and read back."


def cautions_on_top(report: ReportDict) -> list[str]:
    """Sentences of caution for the modules, then of findings that hold even where all is confirmed, each once."""
    of_modules = [caution for module in report["modules"] for caution in module["cautions"]]
    if report["verdict"]["parts"]["trims"]["word"] in ("failed", "interrupted", "unproven"):
        of_modules.append(UNREAD_TRIMS)
    of_findings = [
        caution for item in report["findings"] if item["id"] in CAUTION_ON_TOP for caution in item["cautions"]
    ]
    sentences = [f"{text.rstrip('.')}." for caution in (*of_modules, *of_findings) for text in caution.split(". ")]
    return list(dict.fromkeys(sentences))


def milliseconds(time_ns: int | None) -> str:
    """A short time, ``12 ms``; whole milliseconds where there are ten or more of them."""
    exact_ms = (time_ns or 0) / 1e6
    return f"{exact_ms:.0f} ms" if exact_ms >= 10 or exact_ms == round(exact_ms) else f"{exact_ms:.1f} ms"


def labels(report: ReportDict) -> dict[str, str]:
    """Link key to what a person calls the module; the ids where nothing names it."""
    return {
        link["link"]: link["label"] or ("all modules" if link["functional"] else without_channel(report, link["link"]))
        for link in report["links"]
    }


def without_channel(report: ReportDict, link: str) -> str:
    """``7E0>7E8``: the key as it is where the captures have several channels."""
    channels = {channel for capture in report["captures"] for channel in capture["channels"]}
    return link.partition(":")[2] if len(channels) == 1 else link


def nothing_attempted(report: ReportDict) -> bool:
    """No part of the job was begun, and nobody asked for one."""
    parts = report["verdict"]["parts"]
    words = [parts["programming"], parts["trims"], parts["vin"], parts["fault_memory"], parts["learn"]]
    return not report["expectations"] and all(part["word"] == "not-shown" for part in words)


def changed_nothing(report: ReportDict) -> bool:
    """Nothing in it but reading, whatever a sheet asks for."""
    return nothing_attempted(report) or all(item["kind"] in READING_KINDS for item in report["operations"])


def only_read(report: ReportDict) -> bool:
    """Nothing was attempted and nothing was even switched: the capture of a scan."""
    is_reading = all(item["kind"] in READING_KINDS for item in report["operations"])
    is_moved = any(item["id"] == "output-controlled" for item in report["findings"])
    return nothing_attempted(report) and is_reading and not opening(report) and not is_moved


def opening(report: ReportDict) -> str:
    """What was tried in front of a job that never began, in words; empty when nothing was."""
    tried = {
        "a programming session": lambda item: item["kind"] == "session" and item["details"].get("session") == "02",
        "access": lambda item: item["kind"] == "unlock",
    }
    seen = [item for item in report["operations"] if item["word"] != "not-shown"]
    return " and ".join(text for text, is_it in tried.items() if any(map(is_it, seen)))


def acts(run: Sequence[OperationDict]) -> str:
    """Operations of one kind in one phrase."""
    if len(run) == 1:
        return act(run[0])
    kind = run[0]["kind"]
    if kind in ASKING_KINDS or kind == "clear":
        return KIND[kind]
    things = list(dict.fromkeys(thing for operation in run if (thing := _thing(operation["details"]))))
    shown = things if len(things) <= 6 else [*things[:4], "...", things[-1]]
    return f"{len(run)} {KIND[kind]}s{': ' if shown else ''}{', '.join(shown)}"


def act(operation: OperationDict) -> str:
    """An operation in one phrase."""
    details = operation["details"]
    kind = operation["kind"]
    if kind in ("download", "upload", "file"):
        return f"{_transfer_name(operation)}{_transferred(details)}"
    if kind == "session":
        return SESSION.get(str(details.get("session")), f"session {details.get('session')}")
    if kind == "communication":
        pair = (str(details.get("service")), str(details.get("control")))
        said = CONTROL.get(pair) or QUIET.get(details.get("stops")) or NO_FAULTS.get(details.get("stores_no_faults"))
        return said or f"{KIND[kind]} {' '.join(pair)}"
    if kind == "identity" and isinstance(asked := details.get("identifiers"), list):
        return f"{KIND[kind]}, {counted(len(asked), 'identifier')}"
    if kind == "unlock":
        return f"seed and key, level {details.get('level')}"
    if kind == "reset" and (said := _reset(details)):
        return f"{said} (11 {details['reset']})"
    thing = _thing(details)
    name = details.get("name")
    return f"{KIND[kind]}{' ' if thing else ''}{thing}{f' ({name})' if name else ''}"


def _reset(details: Mapping[str, object]) -> str:
    """The kind of reset in words; empty in a dialect that numbers them otherwise."""
    kind = details.get("reset")
    is_uds = details.get("dialect", "uds") == "uds"
    return RESET.get(int(str(kind), 16), "") if kind and is_uds else ""


def ending(operation: OperationDict) -> str:
    """The word behind an act; nothing where a mere question was answered."""
    is_answered = operation["kind"] in ASKING_KINDS and operation["word"] in ("confirmed", "unproven")
    if is_answered:
        return ""
    doubt = operation["not_as_meant"]
    if doubt is None:
        return f" - {WORD[operation['word']]}"
    return f" - {WORD[doubt['word']]}: {doubt['why']}"


def is_helper(operation: OperationDict) -> bool:
    """A step of programming that is told with the part it serves: erase, check, helper program."""
    return bool(operation["details"].get("driver")) or _is_step(operation)


def _is_step(operation: OperationDict) -> bool:
    return operation["kind"] == "routine" and operation["details"].get("kind") in STEPS_OF_A_DOWNLOAD


def _transfer_name(operation: OperationDict) -> str:
    if operation["kind"] == "download" and operation["details"].get("driver"):
        return "helper program to RAM"
    return KIND[operation["kind"]]


def _transferred(details: Mapping[str, object]) -> str:
    carried, asked, blocks = details.get("size_carried"), details.get("size_asked"), details.get("blocks")
    if blocks == 0:
        return ", no block answered"
    text = ""
    if not carried and blocks:
        text = ", bytes not recorded,"
    elif isinstance(carried, int):
        text = f", {counted(carried, 'byte')}"
        if isinstance(asked, int) and asked != carried:
            text = f", {carried:,} of {counted(asked, 'byte')}"
    if isinstance(blocks, int):
        text += f" in {counted(blocks, 'block')}"
    if details.get("address"):
        text += f", address {details['address']}"
    return text


def _thing(details: Mapping[str, object]) -> str:
    """Number of the thing acted on."""
    return next((str(details[field]) for field in ("identifier", "level", "reset") if details.get(field)), "")
