"""What the modules say the vehicle is."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from analysis.readings import Reading
from analysis.record import Record
from analysis.story import Story
from canlog.names.dids import VIN
from canlog.names.vin import LENGTH, VinCheck, check_vin

OBD_VIN = 0xF802
#: So many other signs are a slip of the hand, not another vehicle.
SLIP = 2


@dataclass(frozen=True, slots=True)
class LastVin:
    """The last VIN that a module said."""

    story: Story
    reading: Reading
    text: str


def last_vin(story: Story, record: Record, capture: int = 0) -> LastVin | None:
    """The last VIN of one module, of one capture if given; None where it said none, or last that it holds none."""
    told = (one for one in reversed(record.readings(story)) if tells_vin(one))
    last = next((one for one in told if capture in (0, one.exchange.capture)), None)
    if last is None:
        return None
    said = vin_in(last)
    return None if said.blank else LastVin(story, last, said.text)


def vin_in(reading: Reading) -> VinCheck:
    """The VIN that a reading holds; OBD puts a count in front of it."""
    return check_vin(reading.raw[-LENGTH:] if reading.identifier == OBD_VIN else reading.raw)


def tells_vin(reading: Reading) -> bool:
    """A reading of the VIN, as an identifier or as OBD vehicle information."""
    return reading.kind == "vin" or reading.identifier in (VIN, OBD_VIN)


def last_vins(record: Record, capture: int = 0) -> list[LastVin]:
    """Those of all modules, in the order in which they first spoke."""
    found = (last_vin(story, record, capture) for story in record.stories if story.own)
    return [one for one in found if one is not None]


def is_slip(text: str, right: str) -> bool:
    """The two differ in so few places that somebody mistyped it."""
    return len(text) == len(right) and 0 < sum(a != b for a, b in zip(text, right, strict=True)) <= SLIP


def other_vehicle(vin: str, record: Record) -> str:
    """The VIN of the vehicle in one of the captures where it is not ``vin``; empty where that is not shown.

    Most of the modules that say one there say it, at least two, and nobody there ever said ``vin``, nor was it
    written in any capture: a single module may be a used part, and two may be given the VIN in the next capture.
    """
    signs = vin.encode()
    for capture in record.captures if vin else ():
        said = (one.text for one in last_vins(record, capture.number))
        most = most_said(Counter(text for text in said if check_vin(text).well_formed))
        here = (one for one in record.exchanges if one.capture == capture.number)
        if most not in ("", vin) and not any(signs in one.asked or signs in one.answered for one in here):
            return "" if any(signs in one.asked for one in record.exchanges) else most
    return ""


def most_said(counts: Counter[str]) -> str:
    """What at least two say and more than say anything else; empty when nothing is."""
    first, second = [*counts.most_common(2), ("", 0), ("", 0)][:2]
    return first[0] if first[1] >= 2 and first[1] > second[1] else ""
