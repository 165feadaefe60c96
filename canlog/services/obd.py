"""Emission diagnostics on CAN: services 01-0A of SAE J1979 (ISO 15031-5).

On CAN the answers to 03, 07 and 0A begin with a count; the byte behind the infotype of a 49 is the number of
data items, no message number. The parameters of an answer to 01 can be told apart only while their lengths
are known; the rest stays whole.

Source: SAE J1979 / ISO 15031-5 (M); layouts agree with scapy 2.8.0 except where tests/oracles says so. Sizes
and formulas of parameters: public PID tables ("OBD-II PIDs", CC BY-SA).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from canlog.names.dtc import two_byte_dtc_text
from canlog.services.layout import (
    Cursor,
    Item,
    Layout,
    ascii_text,
    choose,
    decimal,
    hex_text,
    many,
    octets,
    optional,
    request,
    response,
    rest,
    run,
    u8,
    u16,
)

Formula = Callable[[bytes], float]


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter of services 01 and 02: its size on the wire and how to read it."""

    name: str
    size: int
    formula: Formula | None = None
    unit: str = ""

    def text(self, data: bytes) -> str:
        """``module voltage 12.1 V``; hex where there is no single number."""
        if self.formula is None or len(data) != self.size:
            return f"{self.name} {hex_text(data)}"
        return f"{self.name} {self.formula(data):.6g} {self.unit}".rstrip()


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


def _oxygen(number: int) -> Parameter:
    return Parameter(f"oxygen sensor {number} voltage", 2, lambda data: data[0] / 200, "V")


#: Sizes of parameters that are known; an answer is read up to the first one that is not here.
PARAMETERS: Final[dict[int, Parameter]] = {
    **{block: Parameter(f"supported parameters {block + 1:02X}-{block + 0x20:02X}", 4)
       for block in range(0x00, 0x100, 0x20)},
    0x01: Parameter("monitor status since clear", 4),
    0x02: Parameter("fault that stored the freeze frame", 2),
    0x03: Parameter("fuel system status", 2),
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
    0x1C: Parameter("OBD requirements", 1),
    0x1D: Parameter("oxygen sensors present, four banks", 1),
    0x1E: Parameter("auxiliary input status", 1),
    0x1F: Parameter("time since engine start", 2, _word, "s"),
    0x21: Parameter("distance with warning lamp on", 2, _word, "km"),
    0x2F: Parameter("fuel level", 1, _percent, "%"),
    0x30: Parameter("warm-ups since clear", 1, _byte),
    0x31: Parameter("distance since clear", 2, _word, "km"),
    0x33: Parameter("barometric pressure", 1, _byte, "kPa"),
    0x41: Parameter("monitor status this cycle", 4),
    0x42: Parameter("module voltage", 2, lambda data: _word(data) / 1000, "V"),
    0x46: Parameter("ambient air temperature", 1, _celsius, "°C"),
    0x4D: Parameter("time with warning lamp on", 2, _word, "min"),
    0x4E: Parameter("time since clear", 2, _word, "min"),
    0x5C: Parameter("oil temperature", 1, _celsius, "°C"),
}  # fmt: skip

#: Names of the infotypes of service 09 in use on CAN.
INFOTYPES: Final = {
    0x00: "supported infotypes", 0x02: "VIN", 0x04: "calibration identifications",
    0x06: "calibration verification numbers", 0x08: "in-use performance, spark ignition", 0x0A: "ECU name",
    0x0B: "in-use performance, compression ignition",
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


def _parameter_record(cursor: Cursor) -> None:
    number = cursor.size("parameter_identifier")
    known = PARAMETERS.get(number)
    if known is None:
        rest("data_record", least=1)(cursor)
        return
    data = cursor.take("data_record", known.size)
    if data is not None:
        cursor.put("data_record", data, known.size, known.text(data))


def _monitor(cursor: Cursor) -> None:
    """A test result, or the bit field of supported monitors (00, 20, 40, …)."""
    supported = cursor.size("monitor_identifier") % 0x20 == 0
    run([octets("supported_monitors", 4)] if supported else _RESULT, cursor)


_parameter = u8("parameter_identifier", says=parameter_text)
_frame = u8("frame_number", says=decimal)
_RESULT: Final[list[Item]] = [
    u8("test_identifier"), u8("unit_and_scaling_identifier"),
    u16("test_value"), u16("minimum_test_limit"), u16("maximum_test_limit"),
]  # fmt: skip
_dtcs: tuple[Item, ...] = (
    u8("number_of_dtc", says=decimal), many(u16("dtc", says=two_byte_dtc_text), count="number_of_dtc"),
)  # fmt: skip
_infotype = u8("infotype", says=infotype_text)
_items = u8("number_of_data_items", says=decimal)
_counters: list[Item] = [_items, many(u16("counter", says=decimal), count="number_of_data_items")]
_supported: dict[int, list[Item]] = {
    block: [octets("supported_infotypes", 4)] for block in range(0x00, 0x100, 0x20)
}  # fmt: skip

LAYOUTS: Final = {
    request(0x01): Layout(_parameter, many(_parameter)),
    response(0x01): Layout(_parameter, _parameter_record, many(_parameter, _parameter_record)),
    request(0x02): Layout(_parameter, _frame, many(_parameter, _frame)),
    response(0x02): Layout(_parameter, _frame, _parameter_record, many(_parameter, _frame, _parameter_record)),
    request(0x03): Layout(),
    response(0x03): Layout(*_dtcs),
    request(0x04): Layout(),
    response(0x04): Layout(),
    request(0x05): Layout(u8("test_identifier"), optional(u8("oxygen_sensor_number"))),
    response(0x05): Layout(rest("data_record")),
    request(0x06): Layout(u8("monitor_identifier"), many(u8("monitor_identifier"))),
    response(0x06): Layout(u8("monitor_identifier"), _monitor, many(u8("monitor_identifier"), _monitor)),
    request(0x07): Layout(),
    response(0x07): Layout(*_dtcs),
    request(0x08): Layout(u8("test_identifier"), rest("data_record")),
    response(0x08): Layout(u8("test_identifier"), rest("data_record")),
    request(0x09): Layout(_infotype, many(_infotype)),
    response(0x09): Layout(
        _infotype,
        choose(
            "infotype",
            _supported
            | {
                0x02: [_items, ascii_text("vin", 17)],
                0x04: [_items, many(ascii_text("calibration_identification", 16), count="number_of_data_items")],
                0x06: [_items, many(octets("calibration_verification_number", 4), count="number_of_data_items")],
                0x08: _counters,
                0x0A: [_items, ascii_text("ecu_name", 20)],
                0x0B: _counters,
            },
            [_items, rest("data_record")],
        ),
    ),
    request(0x0A): Layout(),
    response(0x0A): Layout(*_dtcs),
}
