"""Readings of the supply voltage, as far as somebody asked a module for it, or a cyclic message says it.

F442 is OBD parameter 42 by identifier, 0.001 V a bit, two bytes (SAE J1979, PID 42); names may know others.
Of a cyclic message the lowest value of each second counts, and only where it has changed by :data:`STEP_MV`
since the one before, or that is :data:`KEEP_NS` ago: a whole drive has thousands.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.exchanges import Exchange, Place
from analysis.operations.model import evidence
from analysis.record import CaptureRecord, Record
from analysis.story import Story
from analysis.words import Evidence
from canlog.frames import FrameFlag
from canlog.isotp.addressing import id_text
from canlog.names.signals import Quantity, SignalName

SUPPLY_IDENTIFIER = 0xF442
OBD_CURRENT_DATA, OBD_SUPPLY = 0x01, 0x42
STEP_MV = 100
KEEP_NS = 4_000_000_000
SECOND_NS = 1_000_000_000


@dataclass(frozen=True, slots=True)
class SupplyReading:
    """One reading. ``source`` is the key of a module's link, or ``channel:id`` of a cyclic message."""

    place: Place
    time_ns: int
    source: str
    label: str  # what people call the source
    millivolts: int
    evidence: Evidence
    line: int  # where the value stands

    @property
    def volts(self) -> float:
        """Volts, for people."""
        return self.millivolts / 1000


def supply_readings(record: Record) -> list[SupplyReading]:
    """All readings of all modules and of the cyclic messages that names know, in order."""
    found = [reading for story in record.stories for reading in _of(story, record)]
    for capture in record.captures:
        for signal in (one for one in record.names.signals if one.quantity is Quantity.SUPPLY):
            found += _of_signal(signal, capture)
    return sorted(found, key=lambda one: one.place)


def _of(story: Story, record: Record) -> Iterator[SupplyReading]:
    for reading in record.readings(story):
        named = reading.name is not None and reading.name.kind == "supply"
        if reading.identifier == SUPPLY_IDENTIFIER and len(reading.raw) == 2:
            yield _asked(story, reading.exchange, int.from_bytes(reading.raw, "big"))
        elif named and reading.name is not None:
            volts = next((one.value for one in reading.name.decode(reading.raw) if one.unit == "V"), None)
            if volts is not None and not isinstance(volts, str | bytes):
                yield _asked(story, reading.exchange, round(float(volts) * 1000))
    for exchange in story.exchanges:
        answer = exchange.answered
        asked = exchange.service == OBD_CURRENT_DATA and exchange.positive
        if asked and len(answer) == 4 and answer[1] == OBD_SUPPLY:
            yield _asked(story, exchange, int.from_bytes(answer[2:4], "big"))


def _asked(story: Story, exchange: Exchange, millivolts: int) -> SupplyReading:
    shown = evidence(exchange, f"{story.label} reads {millivolts / 1000:.1f} V")
    line = exchange.answer_lines[0]
    return SupplyReading(exchange.begin, exchange.end_ns, story.link.key, story.label, millivolts, shown, line)


def _of_signal(signal: SignalName, capture: CaptureRecord) -> Iterator[SupplyReading]:
    """Its lowest value of each second, where that has changed."""
    seconds: dict[tuple[str, int], SupplyReading] = {}
    for frame in capture.survey.background.frames_of(signal.can_id):
        millivolts = signal.millivolts(frame.data)
        if millivolts is None or bool(frame.flags & FrameFlag.EXTENDED) != signal.extended:
            continue
        second = (frame.channel, frame.time_ns // SECOND_NS)
        if second not in seconds or millivolts < seconds[second].millivolts:
            text = f"{signal.name} reads {millivolts / 1000:.1f} V"
            source = f"{frame.channel}:{id_text(signal.can_id, signal.extended)}"
            shown = Evidence(capture.number, (frame.line,), text)
            place = (capture.number, frame.line)
            seconds[second] = SupplyReading(
                place, frame.time_ns, source, signal.name, millivolts, shown, frame.line
            )  # fmt: skip
    last: dict[str, SupplyReading] = {}
    for reading in seconds.values():
        before = last.get(reading.source)
        has_moved = before is None or abs(reading.millivolts - before.millivolts) >= STEP_MV
        if has_moved or (before is not None and reading.time_ns - before.time_ns >= KEEP_NS):
            last[reading.source] = reading
            yield reading
