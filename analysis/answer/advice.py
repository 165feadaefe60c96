"""What findings advise, as sentences for the list of next steps: a verb first, the module named, the reason said.

``{m}`` is the module, ``{case}`` what was seen in this case, ``{step}`` what the finding says to try first. A
finding that stands in no table here speaks in its own words, if those begin with a verb. Source: common practice,
no source; the vehicle maker's service information decides.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import IntEnum
from typing import Final, NamedTuple

from analysis.checks.finding import Finding
from analysis.operations.model import Part
from analysis.record import Record

#: Every step begins with one of these.
VERBS: Final = frozenset(
    {
        "allow", "ask", "bring", "capture", "check", "choose", "clear", "compare", "connect", "cycle", "do", "find",
        "fix", "give", "go", "keep", "leave", "list", "look", "make", "measure", "meet", "program", "put", "read",
        "record", "remove", "restart", "run", "set", "switch", "take", "wait", "write",
    }
)  # fmt: skip
#: Longest case that a step repeats: two lines of a terminal with the advice.
LONGEST_CASE: Final = 100


class Rank(IntEnum):
    """Which step stands first."""

    FIRST = 0  # before anything is believed or done
    SAFETY = 1
    CAUSE = 2
    REDO = 3
    VALUE = 4
    PROOF = 5
    REST = 6
    RECORDING = 7  # what is only for the next one


class Step(NamedTuple):
    """One thing to do."""

    rank: Rank
    text: str


class Advice(NamedTuple):
    """A step for a finding."""

    rank: Rank
    text: str
    part: Part | None = None  # of which it says what is wrong with it
    always: bool = False  # even where every word is "confirmed" and the finding is only a warning


#: Causes of a download that broke off, the most telling first: one is said of each module.
CAUSES: Final[Mapping[str, str]] = {
    "voltage-too-high": "Bring the supply of {m} down to what the service information allows",
    "voltage-too-low": "Measure the supply at {m} under load, with lights, fans and pumps off",
    "erase-failed": "Find out why the erase of {m} failed before a second try, the supply first",
    "check-failed": "Make sure that the file is the right one for {m}, and do not reset it before the new download",
    "programming-failure": "Check the supply of {m} under load before the next try",
    "erase-refused": "Read the software identification of {m} first: it tells whether the old software still runs",
    "download-refused": "Make sure that file and address fit {m}, which refused the download",
    "transfer-suspended": "Find out why {m} broke the transfer off before the next try",
    "transfer-exit-refused": "Compare the bytes sent to {m} with the file: it refused the end of the transfer",
    "block-counter-refused": "Fix the line and the adapter: {m} and the tester lost count of the blocks",
    "block-missing": "Compare the bytes sent to {m} with the file: a block is missing",
    "block-repeated-different": "Compare the bytes sent to {m} with the file: a block came twice and differed",
    "size-short": "Compare the bytes sent to {m} with the file: they are fewer than announced",
    "size-over": "Compare the bytes sent to {m} with the file: they are more than announced",
    "silence-everything": "Find out what took the whole bus down: supply, ignition or the recorder",
    "silence-tester-first": "Keep the tester awake and its adapter fixed: it stopped, not {m}",
    "conditions-not-correct": "Meet the conditions that the service information lists for this step at {m}",
    "voltage-falls": "Switch off lights, fans and pumps, and watch the supply at {m}",
}

#: The same where the code of the refusal says more.
CAUSES_BY_CODE: Final[Mapping[tuple[str, str], str]] = {
    ("erase-refused", "72"): (
        "Check the supply of {m} under load, and read its software identification: 72 says that the memory gave "
        "trouble, the old software may be gone"
    ),
    ("download-refused", "22"): "Meet the conditions that the service information lists for this step at {m}",
    ("download-refused", "24"): "Find out which step in front of the download {m} did not get: 24 says that one is due",
    ("download-refused", "33"): "Unlock {m} at the level that the service information names: 33 says that it is locked",
    ("transfer-exit-refused", "72"): "Check the supply of {m} under load: 72 says that writing the memory failed",
    ("transfer-exit-refused", "24"): "Compare the blocks sent to {m} with the file: 24 says that some are missing",
}

WAIT_FOR_ACCESS: Final = (
    "Wait with the ignition on, as long as the service information says, before {m} is unlocked again: {case}"
)
NO_JOB: Final = "Repeat no job only for the sake of a recording"
TABLE: Final[Mapping[str, Advice]] = {
    "attempts-exceeded": Advice(Rank.SAFETY, WAIT_FOR_ACCESS),
    "unlock-delay-running": Advice(Rank.SAFETY, WAIT_FOR_ACCESS),
    "pending-without-end": Advice(
        Rank.SAFETY, "Leave {m} powered for some minutes, then ask it with {alive}: it asked to wait and never ended"
    ),
    "key-refused": Advice(Rank.CAUSE, "Find out why {m} refused the key before another one is sent"),
    "communication-not-restored": Advice(
        Rank.SAFETY,
        "Allow normal messages again ({messages}), or cycle the ignition, and see that the cyclic "
        "messages are back",
        always=True,
    ),
    "fault-setting-not-restored": Advice(
        Rank.SAFETY,
        "Switch the storing of faults on again ({storing}), or cycle the ignition, then read the fault memory",
        Part.FAULT_MEMORY, always=True,
    ),
    "output-controlled": Advice(
        Rank.SAFETY,
        "Cycle the ignition, or return control at {m} as the service information says, and keep clear of its parts",
    ),
    "sheet-of-another-job": Advice(
        Rank.FIRST, "Make sure that job sheet and recording belong together: {case}"
    ),
    "size-short": Advice(Rank.CAUSE, CAUSES["size-short"]),
    "size-over": Advice(Rank.CAUSE, CAUSES["size-over"]),
    "given-fits-nothing": Advice(Rank.PROOF, "Check what was given with --names and --link: {case}"),
    "vehicle-moving": Advice(
        Rank.SAFETY, "Bring the vehicle to a stand and chock it before {m} is worked on again", always=True
    ),
    "two-testers": Advice(Rank.FIRST, "Remove the second tester from the bus before anything else is done"),
    "calibration-not-expected": Advice(Rank.VALUE, "{step}: {case}", Part.PROGRAMMING),
    "vin-typed-wrong": Advice(
        Rank.VALUE, "Compare the VIN of {m} with the plate, and write it again: {case}", Part.VIN
    ),
    "vin-foreign": Advice(
        Rank.VALUE, "Find out which vehicle {m} is from before its values are used: {case}", Part.VIN
    ),
    "vin-disagrees": Advice(Rank.VALUE, "Find out which VIN is right: {case}", Part.VIN),
    "vin-changed": Advice(Rank.VALUE, "Read the VIN of {m} after an ignition cycle: {case}", Part.VIN),
    "trims-overwritten": Advice(Rank.VALUE, "{step}", Part.TRIMS),
    "trims-order-suspicious": Advice(
        Rank.VALUE, "{step}", Part.TRIMS
    ),
    "trims-two-equal": Advice(
        Rank.VALUE, "Compare the values of {m} with the labels on the parts: {case}", Part.TRIMS
    ),
    "trims-default": Advice(Rank.VALUE, "Write the values that belong to {m}: {case}", Part.TRIMS),
    "trims-check-bad": Advice(
        Rank.VALUE, "Compare the values of {m} with the labels on the parts: {case}", Part.TRIMS
    ),
    "trims-implausible": Advice(
        Rank.VALUE, "Compare the values of {m} with the labels on the parts: {case}", Part.TRIMS, always=True
    ),
    "copy-differs": Advice(
        Rank.VALUE, "Read source and target of the copy again before anything is written: {case}", Part.TRIMS
    ),
    "trims-read-back-differs": Advice(
        Rank.VALUE,
        "{step}",
        Part.TRIMS,
    ),
    "write-not-taken": Advice(Rank.VALUE, "Cycle the ignition and read the value of {m} again: {case}", Part.TRIMS),
    "trims-lost-after-reset": Advice(
        Rank.VALUE,
            "Write the value to {m} again, with the store step and key-off wait, and read it: {case}",
            Part.TRIMS,
    ),
    "write-refused-in-a-list": Advice(
        Rank.VALUE, "{step}", Part.TRIMS
    ),
    "dtc-returns": Advice(Rank.VALUE, "Find the cause of the fault in {m}: {case}", Part.FAULT_MEMORY, always=True),
    "fault-active": Advice(Rank.VALUE, "Find the cause of the fault in {m}: {case}", Part.FAULT_MEMORY, always=True),
    "fault-count-disagrees": Advice(
        Rank.PROOF, "Read the fault codes of {m} and their count again and capture both: {case}",
        always=True,
    ),
    "frames-dropped-by-logger": Advice(
        Rank.RECORDING,
        f"Set a filter on the diagnostic ids for the next recording: frames of this one are lost. {NO_JOB}",
    ),
    "lines-damaged": Advice(
        Rank.RECORDING, f"Copy the file again from the recorder: lines of it are damaged. {NO_JOB}"
    ),
}  # fmt: skip


def module_of(finding: Finding, record: Record) -> str:
    """What people call the module that a finding is about; "the module" where its lines tell none."""
    labels = {story.link.key: story.label for story in record.stories}
    for shown in finding.evidence:
        exchange = record.exchange_at((shown.capture, shown.lines[0]))
        if exchange is not None and exchange.link.key in labels:
            return labels[exchange.link.key]
    spoken = finding.explanation.partition(":")[0]
    return next((label for label in labels.values() if label in spoken), "the module")


def case_of(finding: Finding, module: str) -> str:
    """What was seen, in one short sentence that does not name the module again."""
    text = finding.case.replace(f"{module}: ", "").removeprefix(f"{module}, ")
    text = re.sub(rf"^{re.escape(module)} (?=[0-9A-F]{{4}}\b)", "", text)
    short = text.partition(". ")[0].rstrip(".")
    if len(short) <= LONGEST_CASE:
        return short
    return f"{short[: LONGEST_CASE - 9].rpartition(', ')[0] or short[: LONGEST_CASE - 9]} and more"


def code_of(finding: Finding) -> str:
    """The code of the refusal that a finding tells of; empty where it tells none."""
    found = re.search(r"\bwith ([0-9A-F]{2}) \(", finding.case)
    return found[1] if found else ""


def sentence(text: str) -> str:
    """With a capital and a full stop."""
    stripped = text.strip().rstrip(".")
    return f"{stripped[:1].upper()}{stripped[1:]}."


def inside(title: str) -> str:
    """A title inside a sentence; abbreviations keep their capitals."""
    return title if title.partition(" ")[0][1:2].isupper() else title[:1].lower() + title[1:]


def starts_with_a_verb(text: str) -> bool:
    """It tells somebody to do something."""
    return text.partition(" ")[0].lower().rstrip(",:") in VERBS
