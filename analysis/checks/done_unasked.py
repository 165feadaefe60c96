"""Something was done that the job sheet does not ask for.

What is seen: a value or a VIN was written, a module programmed or a learn routine run, and the job sheet asks for none
of it.
What it can mean: The wrong module or number may have been chosen; the tester may do it as a part of its own procedure;
the job sheet may be short.
How to tell it from look-alikes: stamps of the tester and helper programs: they are not counted; a module that is not
on the sheet and was only read
What to try: compare what was written with the order and with the service information; read the value again; complete
the job sheet if it was meant
Caution: a value that belongs to another part can damage it, or move the vehicle. The vehicle maker's service
information decides.
Evidence: the writes, downloads and routines. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.unit_values import was_refused
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Kind, Operation, Part, evidence
from analysis.readings import said_identifiers
from analysis.sheet.items.item import stories_of
from analysis.sheet.jobsheet import ModuleAsked
from analysis.story import module_id
from analysis.vins import other_vehicle
from analysis.words import Confidence, Severity


@check("done-unasked", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    if ctx.sheet is None or other_vehicle(ctx.sheet.vin, ctx.record):
        return
    meant = [
        (story.link.channel, module_id(story.link.key), module)
        for module in ctx.sheet.modules
        for story in stories_of(module, ctx.record)
    ]
    if not meant:
        return  # the sheet is of another job, and that is a finding of its own
    unasked: dict[str, list[Operation]] = {}
    for item in _acts(ctx):
        here = item.link.channel, module_id(item.link.key)
        if not any(_asks(module, item) for channel, number, module in meant if (channel, number) == here):
            unasked.setdefault(item.label, []).append(item)
    for label, items in unasked.items():
        shown = tuple(evidence(ctx.act(item), item.subject) for item in items)
        yield Seen(Confidence.HIGH, shown, f"{label}: {_said(items)}, which the job sheet does not ask for.")


def _acts(ctx: Context) -> Iterator[Operation]:
    """What changes a module and was not refused; a clear of faults belongs to every job."""
    for kind in (Kind.DOWNLOAD, Kind.FILE, Kind.WRITE, Kind.WRITE_MEMORY, Kind.ROUTINE):
        for item in ctx.standing(kind):
            if item.part is not None and item.exchanges and not was_refused(ctx, item):
                yield item


def _asks(module: ModuleAsked, item: Operation) -> bool:
    if item.kind in (Kind.DOWNLOAD, Kind.FILE):
        return bool(module.programming)
    if item.part is Part.VIN:
        return module.vin == "write"
    if item.kind is Kind.WRITE_MEMORY:
        return False  # a sheet asks for identifiers
    number = int(str(item.details["identifier"]), 16)
    if item.kind is Kind.ROUTINE:
        return number in module.learn
    return number in {one.identifier for one in (*module.trims, *module.configuration)}


def _said(items: list[Operation]) -> str:
    """``4A10-4A12 and the VIN were written, it was programmed``."""
    values = [
        int(str(one.details["identifier"]), 16) for one in items if one.kind is Kind.WRITE and one.part is not Part.VIN
    ]
    written = [said_identifiers(values)] if values else []
    written += ["the VIN"] if any(one.part is Part.VIN for one in items) else []
    written += [f"memory at {one.details['address']}" for one in items if one.kind is Kind.WRITE_MEMORY]
    said = [f"{' and '.join(written)} written"] if written else []
    said += ["programmed"] if any(one.kind in (Kind.DOWNLOAD, Kind.FILE) for one in items) else []
    learned = [int(str(one.details["identifier"]), 16) for one in items if one.kind is Kind.ROUTINE]
    return ", ".join(said + ([f"learn routine {said_identifiers(learned)} run"] if learned else []))
