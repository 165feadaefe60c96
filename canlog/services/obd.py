"""Emission diagnostics on CAN: services 01-0A of SAE J1979 (ISO 15031-5).

On CAN the answers to 03, 07 and 0A begin with a count; the byte behind the infotype of a 49 is the number of
data items, no message number. The parameters of an answer to 01 can be told apart only while their lengths
are known; the rest stays whole.

SAE J1979-2 (2021) carries the same content by UDS identifiers: F4xx is parameter xx, F6xx monitor xx, F8xx
infotype xx (M). :func:`by_identifier` reads such a record with the same tables.

Source: SAE J1979 / ISO 15031-5 (M); layouts agree with scapy 2.8.0 except where tests/oracles says so.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from canlog.names.dtc import two_byte_dtc_text
from canlog.names.obd import (
    CALIBRATION_SIZES,
    MESSAGE_COUNTS,
    PARAMETERS,
    infotype_text,
    monitor_text,
    parameter_text,
)
from canlog.names.ranges import RangeTable
from canlog.services.layout import (
    Cursor,
    Item,
    Layout,
    Value,
    ascii_text,
    choose,
    decimal,
    many,
    note,
    octets,
    optional,
    request,
    response,
    rest,
    run,
    u8,
    u16,
)
from canlog.services.table import OBD_SERVICES, Service, service_table

#: Total over 00-FF: on a link that speaks nothing but this.
SERVICES: Final[RangeTable[Service]] = service_table(OBD_SERVICES)

#: The fields that a positive response repeats. 01, 02, 06 and 09 may ask for several: see ``matching``.
ECHOES: Final[dict[int, tuple[str, ...]]] = {0x08: ("test_identifier",)}


def _parameter_record(cursor: Cursor) -> None:
    number = cursor.size("parameter_identifier")
    known = PARAMETERS.get(number)
    if known is None:
        rest("data_record", least=1)(cursor)
        return
    data = cursor.take("data_record", known.size)
    if data is not None:
        cursor.put("data_record", data, known.size, known.text(data))


def _scaled(name: str) -> Item:
    """Two bytes in the unit announced before."""

    def read(cursor: Cursor) -> None:
        u16(name, says=lambda raw: monitor_text(cursor.size("unit_and_scaling_identifier"), raw))(cursor)

    return read


def _monitor(cursor: Cursor) -> None:
    """A test result, or the bit field of supported monitors (00, 20, 40, …)."""
    supported = cursor.size("monitor_identifier") % 0x20 == 0
    run([octets("supported_monitors", 4)] if supported else _RESULT, cursor)


def _calibrations(cursor: Cursor) -> None:
    """As many identifications as announced, of the one known size that fits; of the usual size where none does."""
    count = cursor.size("number_of_data_items")
    size = next((size for size in CALIBRATION_SIZES if size * count == cursor.left), CALIBRATION_SIZES[0])
    many(ascii_text("calibration_identification", size), count=count)(cursor)


_parameter = u8("parameter_identifier", says=parameter_text)
_frame = u8("frame_number", says=decimal)
_RESULT: Final[list[Item]] = [
    u8("test_identifier"), u8("unit_and_scaling_identifier"),
    _scaled("test_value"), _scaled("minimum_test_limit"), _scaled("maximum_test_limit"),
]  # fmt: skip
_dtcs: tuple[Item, ...] = (
    u8("number_of_dtc", says=decimal), many(u16("dtc", says=two_byte_dtc_text), count="number_of_dtc"),
)  # fmt: skip
_infotype = u8("infotype", says=infotype_text)
_items = u8("number_of_data_items", says=decimal)
_counters: list[Item] = [_items, many(u16("counter", says=decimal), count="number_of_data_items")]
#: The support masks of several blocks may stand in one answer.
_support: list[Item] = [octets("supported_infotypes", 4), many(_infotype, octets("supported_infotypes", 4))]
_message_count: list[Item] = [
    u8("message_count", says=decimal),
    note("message_count", lambda _: True, "message counts belong to older buses; a module on CAN has none"),
]
_INFORMATION: Final[dict[int, list[Item]]] = {
    **dict.fromkeys(range(0, 256, 32), _support),
    **dict.fromkeys(MESSAGE_COUNTS, _message_count),
    0x02: [_items, ascii_text("vin", 17)],
    0x04: [_items, _calibrations],
    0x06: [_items, many(octets("calibration_verification_number", 4), count="number_of_data_items")],
    0x08: _counters,
    0x0A: [_items, ascii_text("ecu_name", 20)],
    0x0B: _counters,
}

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
    response(0x09): Layout(_infotype, choose("infotype", _INFORMATION, [_items, rest("data_record")])),
    request(0x0A): Layout(),
    response(0x0A): Layout(*_dtcs),
}


class Reading(NamedTuple):
    """A second reading of a record: a part of it under a name of its own."""

    name: str
    value: Value
    at: int  # bytes from the start of the record
    said: str = ""


#: Bytes of one monitor result by identifier: test, unit, value and two limits.
_RESULT_BYTES: Final = 8


def known_record_size(did: int) -> int | None:
    """Bytes of the record of F4xx, where parameter xx is in our table; None for any other identifier."""
    known = PARAMETERS.get(did & 0xFF) if did >> 8 == 0xF4 else None
    return known.size if known else None


def by_identifier(did: int, record: bytes) -> list[Reading]:
    """What the record of an OBD identifier of UDS (F4xx, F6xx, F8xx) says; nothing where it does not fit.

    Whether a record of F8xx begins with the number of items varies by edition (M): its length tells.
    """
    family, number = did >> 8, did & 0xFF
    if family == 0xF4:
        known = PARAMETERS.get(number)
        fits = known is not None and len(record) == known.size
        return [Reading("parameter", record, 0, known.text(record))] if known is not None and fits else []
    if family == 0xF6:
        return _monitor_results(number, record)
    return _information(number, record) if family == 0xF8 else []


def _monitor_results(number: int, record: bytes) -> list[Reading]:
    if number % 0x20 == 0 or not record or len(record) % _RESULT_BYTES:
        return []
    readings = []
    for at in range(0, len(record), _RESULT_BYTES):
        test, unit = record[at], record[at + 1]
        readings += [Reading("test_identifier", test, at, f"{test:02X}"),
                     Reading("unit_and_scaling_identifier", unit, at + 1, f"{unit:02X}")]  # fmt: skip
        for name, where in (("test_value", 2), ("minimum_test_limit", 4), ("maximum_test_limit", 6)):
            raw = int.from_bytes(record[at + where : at + where + 2], "big")
            readings.append(Reading(name, raw, at + where, monitor_text(unit, raw)))
    return readings


def _information(number: int, record: bytes) -> list[Reading]:
    shapes = {
        0x02: ("vin", (17,)), 0x04: ("calibration_identification", CALIBRATION_SIZES),
        0x06: ("calibration_verification_number", (4,)), 0x0A: ("ecu_name", (20,)),
    }  # fmt: skip
    if number not in shapes or not record:
        return []
    name, sizes = shapes[number]
    for size in sizes:
        count, counted = divmod(len(record), size)
        if count and (counted == 0 or (counted == 1 and record[0] == count)):
            items = [(at, record[at : at + size]) for at in range(counted, len(record), size)]
            as_text = name != "calibration_verification_number"
            return [Reading(name, item.decode("ascii", "backslashreplace") if as_text else item, at)
                    for at, item in items]  # fmt: skip
    return []
