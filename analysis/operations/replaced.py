"""Whether what was read earlier on a link came from the module that was there then, and another is there now.

Only the serial number tells one unit from another: it must be read in both captures, always the same inside each,
and differ. A blank one, one of a boot loader and one that a tester wrote say nothing.
Source: ISO 14229-1:2020, annex C.1 (M): F18C is the serial number of the unit.
"""

from __future__ import annotations

from analysis.readings import Reading
from analysis.record import Record
from analysis.story import Story
from canlog.names.blank import is_blank
from canlog.services.dialects import UDS

SERIAL_NUMBER = 0xF18C


def is_of_module_before(reading: Reading, capture: int, story: Story, record: Record) -> bool:
    """The reading is shown to be of another unit than the one in a later capture."""
    then, now = _serial(reading.exchange.capture, story, record), _serial(capture, story, record)
    return reading.exchange.capture < capture and len(then) == len(now) == 1 and then != now


def _serial(capture: int, story: Story, record: Record) -> set[bytes]:
    """Every serial number that the application told in one capture."""
    return {
        item.raw
        for item in record.readings(story)
        if item.identifier == SERIAL_NUMBER
        and item.exchange.capture == capture
        and item.exchange.dialect == UDS
        and not item.written_by_tester
        and not story.is_boot_loader(item.exchange)
        and not is_blank(item.raw)
    }
