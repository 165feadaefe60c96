"""Readings of the supply voltage, as far as somebody asked a module for it.

F442 is OBD parameter 42 by identifier, 0.001 V a bit, two bytes (SAE J1979, PID 42); names may know others.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.exchanges import Exchange
from analysis.record import Record
from analysis.story import Story

SUPPLY_IDENTIFIER = 0xF442
OBD_CURRENT_DATA, OBD_SUPPLY = 0x01, 0x42


@dataclass(frozen=True, slots=True)
class SupplyReading:
    """One reading."""

    story: Story
    exchange: Exchange
    millivolts: int

    @property
    def volts(self) -> float:
        """Volts, for people."""
        return self.millivolts / 1000


def supply_readings(record: Record) -> list[SupplyReading]:
    """All readings of all modules, in order."""
    found = [reading for story in record.stories for reading in _of(story, record)]
    return sorted(found, key=lambda one: one.exchange.begin)


def _of(story: Story, record: Record) -> Iterator[SupplyReading]:
    for reading in record.readings(story):
        named = reading.name is not None and reading.name.kind == "supply"
        if reading.identifier == SUPPLY_IDENTIFIER and len(reading.raw) == 2:
            yield SupplyReading(story, reading.exchange, int.from_bytes(reading.raw, "big"))
        elif named and reading.name is not None:
            volts = next((one.value for one in reading.name.decode(reading.raw) if one.unit == "V"), None)
            if volts is not None and not isinstance(volts, str | bytes):
                yield SupplyReading(story, reading.exchange, round(float(volts) * 1000))
    for exchange in story.exchanges:
        answer = exchange.answered
        asked = exchange.service == OBD_CURRENT_DATA and exchange.positive
        if asked and len(answer) == 4 and answer[1] == OBD_SUPPLY:
            yield SupplyReading(story, exchange, int.from_bytes(answer[2:4], "big"))
