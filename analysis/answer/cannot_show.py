"""What a capture cannot show: some of it never, some of it this time."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.operations.model import Kind, Operation
from analysis.operations.seams import beginnings_elsewhere
from analysis.record import CaptureRecord, Record
from analysis.supply import supply_readings
from analysis.trust.late_start import cut_beginnings
from canlog.isotp.addressing import Direction

#: True of every capture, once something was attempted.
NEVER = (
    "Whether the value written is the one printed on the part, and whether the part sits where it was written for.",
    "Which file a person chose, and what the tester's screen said.",
    "What happened behind a gateway, on other buses, or after the last line.",
)


def cannot_show(record: Record, operations: Sequence[Operation]) -> list[str]:
    """The sentences for this job, the particular ones first."""
    acts = [item for item in operations if item.part is not None]
    found = list(_this_time(record, operations))
    return [*found, *NEVER] if acts else [*found, NEVER[2]]


def _this_time(record: Record, operations: Sequence[Operation]) -> list[str]:
    found = []
    downloads = [item for item in operations if item.kind is Kind.DOWNLOAD]
    if downloads and not supply_readings(record):
        found.append("The supply voltage at the module: nobody asked for it in this capture.")
    if any(item.details.get("compressed") for item in downloads):
        found.append("Whether all bytes arrived: they were compressed or encrypted, so sizes cannot be compared.")
    for item in record.captures:
        found += _missing_of(item, record)
        summary = item.survey.summary
        if summary.last_time_ns is None:
            found.append(f"Times and gaps in {item.name}: it has no time stamps.")
        if not summary.error_frames and downloads:
            found.append(
                f"Whether there were errors on the bus: no error frame is in {item.name}, and many loggers keep none."
            )
    if any(item.kind is Kind.COMMUNICATION and item.details.get("stores_no_faults") is not None for item in operations):
        found.append(
            "Whether the storing of faults was really stopped or started again: that has no effect on the bus."
        )
    return found


def _missing_of(capture: CaptureRecord, record: Record) -> list[str]:
    """Halves and beginnings that were not recorded."""
    half = {key: way for (number, key), way in record.one_way.items() if number == capture.number}
    found = []
    for way, missing in ((Direction.REQUEST, "answered"), (Direction.RESPONSE, "asked")):
        modules = [story.label for story in record.stories if half.get(story.link.key) is way]
        if modules:
            found.append(f"What was {missing} in {capture.name}: of {', '.join(modules)} only one direction is in it.")
    elsewhere = beginnings_elsewhere(record)
    for cut in cut_beginnings(item for item in capture.exchanges if item.link.key not in half):
        if cut.is_transfer and cut.exchange.number not in elsewhere:
            story = record.story(cut.exchange.link.key)
            label = story.label if story is not None else cut.exchange.link.key
            found.append(
                f"The beginning of a transfer to {label}: what was erased and asked for is not in {capture.name}."
            )
    return found
