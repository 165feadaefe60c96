"""Emission diagnostics in names: parameters, infotypes, and units of monitor results.

The answer to a request for several parameters carries no lengths, so it can be told apart only with a table of
sizes; an answer is read up to the first parameter that is not here. Parameter 10 has two bytes.

Source: SAE J1979 / ISO 15031-5 (M). Sizes and formulas of parameters: public PID tables ("OBD-II PIDs", CC
BY-SA); they agree with scapy 2.8.0 except where tests/oracles says so. Units and scalings: scapy 2.8.0.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, NamedTuple

from canlog.names.dtc import two_byte_dtc_text

Formula = Callable[[bytes], float]
Words = Callable[[bytes], str]


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter of services 01 and 02: its size on the wire and how to read it.

    ``formula`` gives the one number it stands for, ``words`` what it says where it is no number.
    """

    name: str
    size: int
    formula: Formula | None = None
    unit: str = ""
    words: Words | None = None

    def text(self, data: bytes) -> str:
        """``module voltage 12.1 V``; hex where there is neither number nor words."""
        if len(data) == self.size and self.formula is not None:
            return f"{self.name} {self.formula(data):.6g} {self.unit}".rstrip()
        if len(data) == self.size and self.words is not None:
            return f"{self.name} {self.words(data)}"
        return f"{self.name} {data.hex(' ').upper()}"


def _word(data: bytes) -> int:
    return int.from_bytes(data[:2], "big")


def _percent(data: bytes) -> float:
    return data[0] * 100 / 255


def _trim(data: bytes) -> float:
    return data[0] * 100 / 128 - 100


def _celsius(data: bytes) -> float:
    return data[0] - 40


def _byte(data: bytes) -> float:
    return data[0]


def _catalyst(data: bytes) -> float:
    return _word(data) / 10 - 40


def _monitors(data: bytes) -> str:
    lamp = "warning lamp on" if data[0] & 0x80 else "warning lamp off"
    return f"{lamp}, {data[0] & 0x7F} stored; readiness {data[1:].hex(' ').upper()}"


def _frozen(data: bytes) -> str:
    return two_byte_dtc_text(_word(data)) if any(data) else "none"


#: Bits of the fuel system status.
FUEL_SYSTEM: Final = {
    0x00: "not in use", 0x01: "open loop, engine cold", 0x02: "closed loop", 0x04: "open loop, load or fuel cut",
    0x08: "open loop, system failure", 0x10: "closed loop with a fault",
}  # fmt: skip


def _fuel_system(data: bytes) -> str:
    return "; ".join(FUEL_SYSTEM.get(byte, f"{byte:02X}") for byte in data)


#: Values of parameter 1C that a workshop meets.
OBD_KINDS: Final = {
    0x01: "OBD II (California)", 0x02: "OBD (federal USA)", 0x03: "OBD and OBD II", 0x04: "OBD I", 0x05: "no OBD",
    0x06: "EOBD", 0x07: "EOBD and OBD II", 0x08: "EOBD and OBD", 0x09: "EOBD, OBD and OBD II", 0x0A: "JOBD",
    0x0B: "JOBD and OBD II", 0x0C: "JOBD and EOBD", 0x0D: "JOBD, EOBD and OBD II", 0x14: "heavy duty OBD",
    0x15: "world-wide harmonized OBD",
}  # fmt: skip


def _kind(data: bytes) -> str:
    return OBD_KINDS.get(data[0], f"{data[0]:02X}")


def _oxygen(number: int) -> Parameter:
    return Parameter(f"oxygen sensor {number} voltage", 2, lambda data: data[0] / 200, "V")


def _support(block: int) -> Parameter:
    return Parameter(
        f"supported parameters {block + 1:02X}-{block + 0x20:02X}", 4,
        words=lambda data: " ".join(f"{number:02X}" for number in supported(block, data)) or "none",
    )  # fmt: skip


def supported(block: int, mask: bytes) -> list[int]:
    """The numbers that a support mask lists: bit 7 of its first byte is ``block`` + 1."""
    bits = int.from_bytes(mask, "big")
    return [block + 1 + at for at in range(8 * len(mask)) if bits >> 8 * len(mask) - 1 - at & 1]


#: Parameters whose size is known.
PARAMETERS: Final[dict[int, Parameter]] = {
    **{block: _support(block) for block in range(0x00, 0x100, 0x20)},
    0x01: Parameter("monitor status since clear", 4, words=_monitors),
    0x02: Parameter("fault that stored the freeze frame", 2, words=_frozen),
    0x03: Parameter("fuel system status", 2, words=_fuel_system),
    0x04: Parameter("calculated load", 1, _percent, "%"),
    0x05: Parameter("coolant temperature", 1, _celsius, "°C"),
    0x06: Parameter("short term fuel trim, bank 1", 1, _trim, "%"),
    0x07: Parameter("long term fuel trim, bank 1", 1, _trim, "%"),
    0x08: Parameter("short term fuel trim, bank 2", 1, _trim, "%"),
    0x09: Parameter("long term fuel trim, bank 2", 1, _trim, "%"),
    0x0A: Parameter("fuel pressure", 1, lambda data: data[0] * 3, "kPa"),
    0x0B: Parameter("intake manifold pressure", 1, _byte, "kPa"),
    0x0C: Parameter("engine speed", 2, lambda data: _word(data) / 4, "min⁻¹"),
    0x0D: Parameter("vehicle speed", 1, _byte, "km/h"),
    0x0E: Parameter("timing advance", 1, lambda data: data[0] / 2 - 64, "°"),
    0x0F: Parameter("intake air temperature", 1, _celsius, "°C"),
    0x10: Parameter("mass air flow", 2, lambda data: _word(data) / 100, "g/s"),
    0x11: Parameter("throttle position", 1, _percent, "%"),
    0x12: Parameter("secondary air status", 1),
    0x13: Parameter("oxygen sensors present", 1),
    **{0x13 + number: _oxygen(number) for number in range(1, 9)},
    0x1C: Parameter("OBD requirements", 1, words=_kind),
    0x1D: Parameter("oxygen sensors present, four banks", 1),
    0x1E: Parameter("auxiliary input status", 1),
    0x1F: Parameter("time since engine start", 2, _word, "s"),
    0x21: Parameter("distance with warning lamp on", 2, _word, "km"),
    0x22: Parameter("fuel rail pressure against manifold", 2, lambda data: _word(data) * 0.079, "kPa"),
    0x23: Parameter("fuel rail pressure", 2, lambda data: _word(data) * 10, "kPa"),
    **{0x23 + number: Parameter(f"oxygen sensor {number} ratio and voltage", 4) for number in range(1, 9)},
    0x2C: Parameter("commanded exhaust gas recirculation", 1, _percent, "%"),
    0x2D: Parameter("exhaust gas recirculation error", 1, _trim, "%"),
    0x2E: Parameter("commanded evaporative purge", 1, _percent, "%"),
    0x2F: Parameter("fuel level", 1, _percent, "%"),
    0x30: Parameter("warm-ups since clear", 1, _byte),
    0x31: Parameter("distance since clear", 2, _word, "km"),
    0x32: Parameter("evaporative system pressure", 2),
    0x33: Parameter("barometric pressure", 1, _byte, "kPa"),
    **{0x33 + number: Parameter(f"oxygen sensor {number} ratio and current", 4) for number in range(1, 9)},
    0x3C: Parameter("catalyst temperature, bank 1 sensor 1", 2, _catalyst, "°C"),
    0x3D: Parameter("catalyst temperature, bank 2 sensor 1", 2, _catalyst, "°C"),
    0x3E: Parameter("catalyst temperature, bank 1 sensor 2", 2, _catalyst, "°C"),
    0x3F: Parameter("catalyst temperature, bank 2 sensor 2", 2, _catalyst, "°C"),
    0x41: Parameter("monitor status this cycle", 4),
    0x42: Parameter("module voltage", 2, lambda data: _word(data) / 1000, "V"),
    0x43: Parameter("absolute load", 2, lambda data: _word(data) * 100 / 255, "%"),
    0x44: Parameter("commanded equivalence ratio", 2, lambda data: _word(data) * 2 / 65536),
    0x45: Parameter("relative throttle position", 1, _percent, "%"),
    0x46: Parameter("ambient air temperature", 1, _celsius, "°C"),
    0x47: Parameter("absolute throttle position B", 1, _percent, "%"),
    0x48: Parameter("absolute throttle position C", 1, _percent, "%"),
    0x49: Parameter("accelerator pedal position D", 1, _percent, "%"),
    0x4A: Parameter("accelerator pedal position E", 1, _percent, "%"),
    0x4B: Parameter("accelerator pedal position F", 1, _percent, "%"),
    0x4C: Parameter("commanded throttle", 1, _percent, "%"),
    0x4D: Parameter("time with warning lamp on", 2, _word, "min"),
    0x4E: Parameter("time since clear", 2, _word, "min"),
    0x4F: Parameter("scaling of other parameters", 4),
    0x50: Parameter("largest mass air flow", 4),
    0x51: Parameter("kind of fuel", 1),
    0x52: Parameter("ethanol share", 1, _percent, "%"),
    0x53: Parameter("evaporative system pressure, absolute", 2),
    0x54: Parameter("evaporative system pressure, wide range", 2),
    0x55: Parameter("short term trim, second sensor, banks 1 and 3", 2),
    0x56: Parameter("long term trim, second sensor, banks 1 and 3", 2),
    0x57: Parameter("short term trim, second sensor, banks 2 and 4", 2),
    0x58: Parameter("long term trim, second sensor, banks 2 and 4", 2),
    0x59: Parameter("fuel rail pressure, absolute", 2, lambda data: _word(data) * 10, "kPa"),
    0x5A: Parameter("relative accelerator pedal position", 1, _percent, "%"),
    0x5B: Parameter("hybrid battery remaining life", 1, _percent, "%"),
    0x5C: Parameter("oil temperature", 1, _celsius, "°C"),
    0x5D: Parameter("fuel injection timing", 2, lambda data: _word(data) / 128 - 210, "°"),
    0x5E: Parameter("fuel rate", 2, lambda data: _word(data) / 20, "L/h"),
    0x5F: Parameter("emission requirements", 1),
}  # fmt: skip

#: Names of the infotypes of service 09. The message counts are of older buses: not on CAN.
INFOTYPES: Final = {
    0x00: "supported infotypes", 0x01: "message count of the VIN", 0x02: "VIN",
    0x03: "message count of calibration identifications", 0x04: "calibration identifications",
    0x05: "message count of calibration verification numbers", 0x06: "calibration verification numbers",
    0x07: "message count of in-use performance", 0x08: "in-use performance, spark ignition",
    0x09: "message count of the ECU name", 0x0A: "ECU name", 0x0B: "in-use performance, compression ignition",
}  # fmt: skip

MESSAGE_COUNTS: Final = frozenset({0x01, 0x03, 0x05, 0x07, 0x09})

#: Calibration identifications have 16 characters; some modules send 20 (common practice, no source).
CALIBRATION_SIZES: Final = (16, 20)


class Unit(NamedTuple):
    """One unit-and-scaling identifier of service 06: ``raw · scale + offset``, raw signed from 80 on."""

    scale: float
    unit: str = ""
    offset: float = 0

    def value(self, raw: int, *, signed: bool) -> float:
        """The value of a 16-bit number."""
        return (raw - 0x10000 if signed and raw & 0x8000 else raw) * self.scale + self.offset


#: Unit-and-scaling identifiers; the others are reserved or not in our table.
UNITS: Final[dict[int, Unit]] = {
    0x01: Unit(1), 0x02: Unit(0.1), 0x03: Unit(0.01), 0x04: Unit(0.001), 0x05: Unit(0.0000305), 0x06: Unit(0.000305),
    0x07: Unit(0.25, "min⁻¹"), 0x08: Unit(0.01, "km/h"), 0x09: Unit(1, "km/h"), 0x0A: Unit(0.122, "mV"),
    0x0B: Unit(0.001, "V"), 0x0C: Unit(0.01, "V"), 0x0D: Unit(0.00390625, "mA"), 0x0E: Unit(0.001, "A"),
    0x0F: Unit(0.01, "A"), 0x10: Unit(1, "ms"), 0x11: Unit(100, "ms"), 0x12: Unit(1, "s"), 0x13: Unit(1, "mΩ"),
    0x14: Unit(1, "Ω"), 0x15: Unit(1, "kΩ"), 0x16: Unit(0.1, "°C", -40), 0x17: Unit(0.01, "kPa"),
    0x18: Unit(0.0117, "kPa"), 0x19: Unit(0.079, "kPa"), 0x1A: Unit(1, "kPa"), 0x1B: Unit(10, "kPa"),
    0x1C: Unit(0.01, "°"), 0x1D: Unit(0.5, "°"), 0x1E: Unit(0.0000305), 0x1F: Unit(0.05), 0x20: Unit(0.0039062),
    0x21: Unit(1, "mHz"), 0x22: Unit(1, "Hz"), 0x23: Unit(1, "kHz"), 0x24: Unit(1, "counts"), 0x25: Unit(1, "km"),
    0x26: Unit(0.1, "mV/ms"), 0x27: Unit(0.01, "g/s"), 0x28: Unit(1, "g/s"), 0x29: Unit(0.25, "Pa/s"),
    0x2A: Unit(0.001, "kg/h"), 0x2B: Unit(1, "switches"), 0x2C: Unit(0.01, "g/cyl"), 0x2D: Unit(0.01, "mg/stroke"),
    0x2F: Unit(0.01, "%"), 0x30: Unit(0.001526, "%"), 0x31: Unit(0.001, "L"), 0x32: Unit(0.0000305, "inch"),
    0x33: Unit(0.00024414), 0x34: Unit(1, "min"), 0x35: Unit(10, "ms"), 0x36: Unit(0.01, "g"), 0x37: Unit(0.1, "g"),
    0x38: Unit(1, "g"), 0x39: Unit(0.01, "%", -327.68), 0x81: Unit(1), 0x82: Unit(0.1), 0x83: Unit(0.01),
    0x84: Unit(0.001), 0x85: Unit(0.0000305), 0x86: Unit(0.000305), 0x8A: Unit(0.122, "mV"), 0x8B: Unit(0.001, "V"),
    0x8C: Unit(0.01, "V"), 0x8D: Unit(0.00390625, "mA"), 0x8E: Unit(0.001, "A"), 0x90: Unit(1, "ms"),
    0x96: Unit(0.1, "°C"), 0x9C: Unit(0.01, "°"), 0x9D: Unit(0.5, "°"), 0xA8: Unit(1, "g/s"), 0xA9: Unit(0.25, "Pa/s"),
    0xAF: Unit(0.01, "%"), 0xB0: Unit(0.003052, "%"), 0xB1: Unit(2, "mV/s"), 0xFD: Unit(0.001, "kPa"),
    0xFE: Unit(0.25, "Pa"),
}  # fmt: skip


def parameter_text(number: int) -> str:
    """``0C engine speed``."""
    known = PARAMETERS.get(number)
    return f"{number:02X} {known.name if known else 'parameter not in our table'}"


def infotype_text(number: int) -> str:
    """``02 VIN``."""
    return f"{number:02X} {INFOTYPES.get(number, 'infotype not in our table')}"


def parameter_value(number: int, data: bytes) -> float | None:
    """The number a parameter stands for, in the unit of ``PARAMETERS``; None where it is no single number."""
    known = PARAMETERS.get(number)
    if known is None or known.formula is None or len(data) != known.size:
        return None
    return known.formula(data)


def monitor_value(unit: int, raw: int) -> float | None:
    """The value of a monitor result in the unit of ``UNITS``; None where its unit is not in our table."""
    known = UNITS.get(unit)
    return None if known is None else known.value(raw, signed=unit >= 0x80)


def monitor_text(unit: int, raw: int) -> str:
    """``365.024 mV``, or the raw number in hex."""
    value = monitor_value(unit, raw)
    return f"{raw:04X}" if value is None else f"{value:.6g} {UNITS[unit].unit}".rstrip()
