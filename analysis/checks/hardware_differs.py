"""The hardware behind one address is another one than before, or than the job sheet says.

What is seen: two readings of a hardware number or serial number from one module differ; or the module tells hardware
numbers, and none is the one on the job sheet.
What it can mean: The module may have been replaced between them; two modules may answer at one address; the software
may report the number, and have changed it.
How to tell it from look-alikes: a boot loader that gives the number in another form, which is left out here
What to try: look which module is fitted, and compare its label; choose the file for that hardware
Caution: do not repeat blindly: wrong keys are counted, and each erase puts the module at risk. The vehicle maker's
service information decides.
Evidence: the two readings. Source: ISO 14229-1:2020, annex C.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.readings import Reading
from analysis.sheet.items.in_words import is_value
from analysis.sheet.items.item import stories_of
from analysis.story import Story
from analysis.words import Confidence, Severity
from canlog.names.dids import SERIAL_NUMBER
from canlog.services.dialects import UDS

#: Hardware numbers and the serial number: no programming changes them. ISO 14229-1:2020, annex C.1 (M).
HARDWARE = frozenset({0xF18C, 0xF191, 0xF192, 0xF193})


@check("hardware-differs", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        for identifier in sorted(HARDWARE):
            same = [item for item in ctx.record.readings(story) if _is_meant(story, item, identifier)]
            for one, other in pairwise(same):
                if one.raw != other.raw:
                    text = f"{story.label}: {one.title} was {_said(one)} and then {_said(other)}."
                    shown = (evidence(one.exchange, "the first reading"), evidence(other.exchange, "the other one"))
                    yield Seen(Confidence.HIGH, shown, text)
                    break
    yield from _unlike_the_sheet(ctx)


def _unlike_the_sheet(ctx: Context) -> Iterator[Seen]:
    """Which of the numbers a sheet means is not known: one that fits is enough."""
    for asked in ctx.sheet.modules if ctx.sheet is not None else ():
        for story in stories_of(asked, ctx.record) if asked.hardware else ():
            told = [
                item
                for identifier in sorted(HARDWARE - {SERIAL_NUMBER})
                for item in ctx.record.readings(story)
                if _is_meant(story, item, identifier)
            ]
            if told and not any(is_value(item.raw, asked.hardware) for item in told):
                said = ", ".join(dict.fromkeys(f"{item.title} {_said(item)}" for item in told))
                shown = tuple(evidence(item.exchange, f"tells {_said(item)}") for item in told)
                text = f"{story.label}: {said}; the job sheet says {asked.hardware}."
                yield Seen(Confidence.MEDIUM, shown, text)


def _is_meant(story: Story, reading: Reading, identifier: int) -> bool:
    """What a boot loader says of the part it stands in may differ in form."""
    is_uds = reading.identifier == identifier and reading.exchange.dialect == UDS
    return (
        is_uds
        and reading.exchange.request is not None
        and not reading.written_by_tester
        and not story.is_boot_loader(reading.exchange)
    )


def _said(reading: Reading) -> str:
    return reading.text or reading.raw.hex().upper()
