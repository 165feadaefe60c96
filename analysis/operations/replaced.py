"""Whether what was read on a link came from the unit that an act was done to, or from another one in its place.

Only the serial number tells one unit from another. A blank one, one of a boot loader and one that a tester wrote say
nothing. To take a proof away it is enough that the one told nearest differs; to take away what speaks against a
proof, each capture must tell one number only, and another one.
Source: ISO 14229-1:2020, annex C.1 (M): F18C is the serial number of the unit.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.exchanges import Exchange
from analysis.readings import Reading
from analysis.record import Record
from analysis.story import Story


def is_of_module_before(reading: Reading, capture: int, story: Story, record: Record) -> bool:
    """The reading is shown to be of another unit than the one in a later capture."""
    then, now = _serial(reading.exchange.capture, story, record), _serial(capture, story, record)
    return reading.exchange.capture < capture and len(then) == len(now) == 1 and then != now


def is_of_another_unit(reading: Reading, act: Exchange, story: Story, record: Record) -> bool:
    """The serial number told nearest to the reading is not the one told nearest to the act."""
    told = record.serial_numbers(story)
    if len({item.raw for item in told}) < 2:
        return False
    return _nearest(told, reading.exchange).isdisjoint(_nearest(told, act))


def _nearest(told: Sequence[Reading], exchange: Exchange) -> set[bytes]:
    """In the same capture the last in front of it, else the first behind it; without one, every number told at all."""
    same = [item for item in told if item.exchange.capture == exchange.capture]
    before = [item for item in same if item.place <= exchange.begin]
    after = [item for item in same if item.place > exchange.begin]
    return {item.raw for item in before[-1:] or after[:1] or told}


def _serial(capture: int, story: Story, record: Record) -> set[bytes]:
    """Every serial number that the application told in one capture."""
    return {item.raw for item in record.serial_numbers(story) if item.exchange.capture == capture}
