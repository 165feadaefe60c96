"""Signals of cyclic messages: where a value lies in a frame's bytes.

Of a whole bus description only what a job needs is kept, known by its words and unit: the supply voltage (a signal
in V or mV that speaks of battery or supply, and not of a cell, a sensor or a high voltage), the speed of the vehicle,
the speed of the engine, and whether the engine runs. A wrong pick would raise a false alarm, so what is
not clear is left out. The words are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final

_SUPPLY: Final = frozenset(
    {"battery", "batt", "bat", "supply", "ubat", "ubatt", "vbat", "vbatt", "kl30", "kl15", "terminal30", "terminal15"}
)
_OTHERS: Final = frozenset(
    {
        "cell",
        "hv",
        "high",
        "traction",
        "sensor",
        "reference",
        "ref",
        "min",
        "max",
        "limit",
        "target",
        "setpoint",
        "status",
    }
)
_VEHICLE: Final = frozenset({"vehicle", "veh", "road"})
_ENGINE: Final = frozenset({"engine", "eng"})
_SPEED: Final = frozenset({"speed", "spd"})
_TURNS: Final = _SPEED | {"rpm", "revs", "revolutions"}
#: Speeds that are wished for, allowed or computed for something else.
_NOT_NOW: Final = frozenset(
    {
        "min", "max", "limit", "limiter", "target", "desired", "requested", "request", "req", "set", "setpoint",
        "cruise", "governor", "idle", "fan", "pump", "turbo", "ratio", "gradient", "error", "status", "average", "avg",
        "percent", "reference", "ref", "high", "low", "at", "point", "start", "stop", "test", "transmission",
    }
)  # fmt: skip
#: A state of the engine is named with these words and no other.
_STATE: Final = frozenset({"state", "status", "running", "run", "is", "on", "st"})
_SAYS_RUNNING: Final = frozenset({"running", "run", "runs", "on", "engine running", "engine on"})
_SAYS_STOPPED: Final = frozenset(
    {"stopped", "off", "stop", "not running", "standstill", "engine off", "engine stopped", "engine not running"}
)
#: A supply of 12 V or 24 V reads less than this, whatever happens.
_MOST_VOLTS: Final = 60
_MILLIVOLTS: Final = {"v": 1000, "volt": 1000, "volts": 1000, "mv": 1}
_KMH: Final = {
    "km/h": Decimal(1), "kmh": Decimal(1), "kph": Decimal(1), "mph": Decimal("1.609344"), "m/s": Decimal("3.6"),
}  # fmt: skip
_PER_MINUTE: Final = frozenset({"rpm", "1/min", "min-1", "min^-1", "/min", "u/min", "r/min", "upm"})
#: No road vehicle is faster, no engine turns faster.
_MOST_KMH: Final = 400
_MOST_PER_MINUTE: Final = 20_000


class Quantity(StrEnum):
    """What a signal tells."""

    SUPPLY = "supply"
    SPEED = "speed"  # of the vehicle
    TURNS = "turns"  # of the engine, in a minute
    RUNNING = "running"  # the engine: 1 or 0


#: In which unit :meth:`SignalName.reading` gives it.
UNITS: Final[Mapping[Quantity, str]] = {
    Quantity.SUPPLY: "mV", Quantity.SPEED: "km/h", Quantity.TURNS: "1/min", Quantity.RUNNING: "",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class SignalName:
    """A value in the frames of an id. ``start`` counts bits as DBC does: of the lowest, or with ``big_endian`` of the
    highest bit of the value, within bytes from the lowest. ``states`` are the bits that say running or not."""

    can_id: int
    extended: bool
    name: str
    start: int
    length: int
    big_endian: bool = False
    signed: bool = False
    scale: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)
    unit: str = ""
    minimum: Decimal | None = None
    maximum: Decimal | None = None
    quantity: Quantity = Quantity.SUPPLY
    states: tuple[tuple[int, bool], ...] = ()

    def raw(self, data: bytes) -> int | None:
        """The bits as a number; None where the frame is too short."""
        n_bits = 8 * len(data)
        first = self.start // 8 * 8 + 7 - self.start % 8 if self.big_endian else self.start
        if first + self.length > n_bits:
            return None
        if self.big_endian:
            value = int.from_bytes(data, "big") >> (n_bits - first - self.length)
        else:
            value = int.from_bytes(data, "little") >> first
        value &= (1 << self.length) - 1
        is_negative = self.signed and value >> (self.length - 1)
        return value - (1 << self.length) if is_negative else value

    def decode(self, data: bytes) -> Decimal | None:
        """The value in its unit; None where the frame is too short, says "not available" or what cannot be."""
        raw = self.raw(data)
        if raw is None or (not self.signed and raw == (1 << self.length) - 1):
            return None
        value = raw * self.scale + self.offset
        if self.minimum is not None and self.maximum is not None and not self.minimum <= value <= self.maximum:
            return None
        return value

    def millivolts(self, data: bytes) -> int | None:
        """The same of a voltage; None as well where it is none of a supply."""
        value, factor = self.decode(data), _MILLIVOLTS.get(self.unit.lower())
        if value is None or factor is None or not 0 <= value * factor < _MOST_VOLTS * 1000:
            return None
        return round(value * factor)

    def reading(self, data: bytes) -> Decimal | None:
        """The value in the unit of its quantity (:data:`UNITS`); None where it is none, or none that can be."""
        if self.quantity is Quantity.RUNNING:
            raw = self.raw(data)
            state = None if raw is None else dict(self.states).get(raw)
            return None if state is None else Decimal(state)
        if self.quantity is Quantity.SUPPLY:
            millivolts = self.millivolts(data)
            return None if millivolts is None else Decimal(millivolts)
        value = self.decode(data)
        if value is None:
            return None
        is_speed = self.quantity is Quantity.SPEED
        value *= _KMH.get(self.unit.lower(), Decimal(1)) if is_speed else Decimal(1)
        return value if 0 <= value <= (_MOST_KMH if is_speed else _MOST_PER_MINUTE) else None


def quantity_of(name: str, unit: str) -> Quantity | None:
    """What a signal with a unit tells, of what a job needs; None for any other."""
    words, unit = _words(name), unit.strip().lower()
    if is_supply(name, unit):
        return Quantity.SUPPLY
    if unit in _KMH and words & _VEHICLE and words & _SPEED and not words & (_NOT_NOW | _ENGINE):
        return Quantity.SPEED
    if unit in _PER_MINUTE and words & _ENGINE and words & _TURNS and not words & (_NOT_NOW | _VEHICLE):
        return Quantity.TURNS
    if not unit and words & _ENGINE and words & _STATE and words <= _ENGINE | _STATE:
        return Quantity.RUNNING
    return None


def running_states(texts: Mapping[int, str], length: int) -> tuple[tuple[int, bool], ...]:
    """Which numbers of an engine state say that it runs, and which that it stands; empty where not both are said.

    A single bit without texts is 1 for yes. Cranking, starting and the like are neither.
    """
    if not texts and length == 1:
        return ((0, False), (1, True))
    said = {raw: " ".join(text.replace("_", " ").lower().split()) for raw, text in texts.items()}
    states = [(raw, text in _SAYS_RUNNING) for raw, text in said.items() if text in _SAYS_RUNNING | _SAYS_STOPPED]
    return tuple(sorted(states)) if len({runs for _, runs in states}) == 2 else ()


def is_supply(name: str, unit: str) -> bool:
    """Whether a name and a unit speak of the supply voltage of a 12 V or 24 V system."""
    words = _words(name)
    return unit.lower() in _MILLIVOLTS and bool(words & _SUPPLY) and not words & _OTHERS


def _words(name: str) -> frozenset[str]:
    found = re.findall(r"[A-Z]+(?=[A-Z][a-z]|\d|\b|_)\d*|[A-Z]?[a-z]+\d*|\d+", name)
    return frozenset(word.lower() for word in found)
