"""GMW3110, edition 1.6 (2010): a published maker's standard, older than UDS and only partly like it.

What differs although the number is the same: 28 and 3E have no parameters; 34 names no address, only a format and
a size, and its answer no block length; 36 has a sub-function (00 download, 80 download and execute) and an address
in each block, and no counter; there is no 37; 10 opens no session. Programming mode is asked for with A5 01 or 02
and entered with A5 03, which nobody answers; 20 ends everything. A2 reports the programmed state: after a download
that is the proof.

All addresses of a module have one width (2 to 4 bytes) that no message announces. The size in 34 has the same
width, so it is known from there (:func:`address_bytes_of`); a block decoded without it stays whole.

A9 and AA are answered by frames without transport header and service identifier (M): :func:`decode_report`.

Source: GMW3110 1.6 (M); layouts agree with scapy 2.8.0 except where tests/oracles says so.
"""

from __future__ import annotations

from typing import Final

from canlog.names.dtc import dtc_text
from canlog.names.nrc import GMW3110_NRCS
from canlog.names.ranges import MAKER, RESERVED, SUPPLIER, Code, RangeTable, singles
from canlog.services import negative
from canlog.services.layout import (
    Cursor,
    Decoded,
    Item,
    Kind,
    Layout,
    choose,
    many,
    named,
    octets,
    optional,
    request,
    response,
    rest,
    run,
    u8,
    u16,
    u24,
    uint,
)
from canlog.services.memory import size_text
from canlog.services.obd import LAYOUTS as OBD_LAYOUTS
from canlog.services.table import Service, ServiceKind, service_table

_NAMES: Final = {
    0x04: "ClearDiagnosticInformation", 0x10: "InitiateDiagnosticOperation", 0x12: "ReadFailureRecordData",
    0x1A: "ReadDataByIdentifier", 0x20: "ReturnToNormalMode", 0x22: "ReadDataByParameterIdentifier",
    0x23: "ReadMemoryByAddress", 0x27: "SecurityAccess", 0x28: "DisableNormalCommunication",
    0x2C: "DynamicallyDefineMessage", 0x2D: "DefinePIDByAddress", 0x34: "RequestDownload", 0x36: "TransferData",
    0x3B: "WriteDataByIdentifier", 0x3E: "TesterPresent", 0xA2: "ReportProgrammedState", 0xA5: "ProgrammingMode",
    0xA9: "ReadDiagnosticInformation", 0xAA: "ReadDataByPacketIdentifier", 0xAE: "DeviceControl",
}  # fmt: skip
_WITH_SUB_FUNCTION: Final = frozenset({0x10, 0x12, 0x27, 0x36, 0xA5, 0xA9, 0xAA})

#: Total over 00-FF.
SERVICES: Final = service_table(
    [Service(sid, name, ServiceKind.KNOWN, sid in _WITH_SUB_FUNCTION, editions="GMW3110 1.6")
     for sid, name in _NAMES.items()],
)  # fmt: skip

#: Total over 00-FF: what 10 does.
OPERATIONS: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x01, RESERVED),
        *singles({0x02: "disableAllDTCs", 0x03: "enableDTCsDuringDeviceControl", 0x04: "wakeUpLinks"}),
        (0x05, 0xFF, RESERVED),
    ],
)

#: Total over 00-FF: what 12 reads.
FAILURE_RECORDS: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x00, RESERVED),
        *singles({0x01: "readFailureRecordIdentifiers", 0x02: "readFailureRecordParameters"}),
        (0x03, 0xFF, RESERVED),
    ],
)

#: Total over 00-FF: odd asks for a seed, even sends a key.
SECURITY_LEVELS: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x00, RESERVED),
        *singles(
            {
                0x01: "programmingRequestSeed",
                0x02: "programmingSendKey",
                0x03: "deviceControlRequestSeed",
                0x04: "deviceControlSendKey",
            }
        ),
        (0x05, 0x0A, RESERVED),
        (0x0B, 0xFA, MAKER),
        (0xFB, 0xFE, SUPPLIER),
        (0xFF, 0xFF, RESERVED),
    ],
)

DOWNLOAD, EXECUTE = 0x00, 0x80

#: Total over 00-FF: what 36 does with a block.
TRANSFERS: Final = RangeTable(
    0xFF,
    [
        *singles({DOWNLOAD: "download", EXECUTE: "downloadAndExecuteOrExecute"}),
        (0x01, 0x7F, RESERVED),
        (0x81, 0xFF, RESERVED),
    ],
)

ENABLE_PROGRAMMING: Final = 0x03

#: Total over 00-FF: what A5 does.
PROGRAMMING_MODES: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x00, RESERVED),
        *singles(
            {
                0x01: "requestProgrammingMode",
                0x02: "requestProgrammingModeHighSpeed",
                ENABLE_PROGRAMMING: "enableProgrammingMode",
            }
        ),
        (0x04, 0xFF, RESERVED),
    ],
)

FULLY_PROGRAMMED: Final = 0x00
NO_SOFTWARE: Final = 0x01

#: Total over 00-FF: the answer to A2.
PROGRAMMED_STATES: Final = RangeTable(
    0xFF,
    [
        *singles(
            {
                FULLY_PROGRAMMED: "fully programmed",
                0x01: "no software or calibration",
                0x02: "software present, calibration missing",
                0x03: "software present, default or no-start calibration",
            }
        ),
        (0x04, 0x4F, RESERVED),
        *singles(
            {
                0x50: "general memory fault",
                0x51: "RAM fault",
                0x52: "NVRAM fault",
                0x53: "boot memory fault",
                0x54: "flash memory fault",
                0x55: "EEPROM fault",
            }
        ),
        (0x56, 0xFF, RESERVED),
    ],
)

#: Total over 00-FF: what A9 reads.
FAULT_REPORTS: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x7F, RESERVED),
        *singles(
            {
                0x80: "readStatusOfDTCByDTCNumber",
                0x81: "readStatusOfDTCByStatusMask",
                0x82: "sendOnChangeDTCCount",
            }
        ),
        (0x83, 0xFF, RESERVED),
    ],
)

#: Total over 00-FF: how AA sends.
PACKET_RATES: Final = RangeTable(
    0xFF,
    [
        *singles(
            {
                0x00: "stopSending",
                0x01: "sendOneResponse",
                0x02: "scheduleAtSlowRate",
                0x03: "scheduleAtMediumRate",
                0x04: "scheduleAtFastRate",
            }
        ),
        (0x05, 0xFF, RESERVED),
    ],
)

PACKETS, STOP_SENDING = 0xAA, 0x00

VIN: Final = 0x90

_SUBNETS: Final = Code("list of modules on a subnet")

#: Total over 00-FF: what 1A reads and 3B writes.
IDENTIFIERS: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x8F, MAKER),
        *singles({VIN: "VIN"}),
        (0x91, 0x91, MAKER),
        *singles({0x92: "systemSupplierIdentifier"}),
        (0x93, 0x96, MAKER),
        *singles(
            {
                0x97: "systemNameOrEngineType",
                0x98: "repairShopCodeOrTesterSerialNumber",
                0x99: "programmingDate",
                0x9A: "diagnosticDataIdentifier",
                0x9B: "configurationCompatibilityIdentifier",
                0x9C: "dataFilePartNumber",
                0x9D: "dataFileAlphaCode",
            }
        ),
        (0x9E, 0x9E, MAKER),
        *singles({0x9F: "previousRepairShopCodes", 0xA0: "manufacturersEnableCounter"}),
        (0xA1, 0xA8, Code("configuration or customization data")),
        (0xA9, 0xAF, MAKER),
        *singles(
            {
                0xB0: "diagnosticAddress",
                0xB1: "functionalSystemsAndVirtualDevices",
                0xB2: "manufacturingData",
                0xB3: "supplierCompanyNumber",
                0xB4: "manufacturingTraceabilityCharacters",
                0xB5: "broadcastCode",
                0xB6: "targetVehicle",
                0xB7: "softwareUsageDescription",
                0xB8: "benchVerificationInformation",
            }
        ),
        (0xB9, 0xBF, _SUBNETS),
        *singles({0xC0: "bootSoftwarePartNumber"}),
        *singles({0xC0 + part: f"softwareModuleIdentifier {part:02}" for part in range(1, 11)}),
        *singles({0xCB: "endModelPartNumber", 0xCC: "baseModelPartNumber"}),
        (0xCD, 0xCF, MAKER),
        *singles({0xD0: "bootSoftwarePartNumberAlphaCode"}),
        *singles({0xD0 + part: f"softwareModuleIdentifierAlphaCode {part:02}" for part in range(1, 11)}),
        *singles(
            {
                0xDB: "endModelPartNumberAlphaCode",
                0xDC: "baseModelPartNumberAlphaCode",
                0xDD: "softwareModuleDataIdentifiers",
                0xDE: "identificationData",
                0xDF: "odometerValue",
            }
        ),
        (0xE0, 0xE7, Code("vehicle level data record")),
        (0xE8, 0xEF, _SUBNETS),
        (0xF0, 0xFF, MAKER),
    ],
)

#: Part numbers and software modules: what a programming changes.
PART_IDENTIFIERS: Final = frozenset({*range(0xC0, 0xCD), *range(0xD0, 0xDD)})


def lacks_parts(state: int) -> bool:
    """True for the programmed states that say software or calibration is missing (01-03)."""
    return 0x01 <= state <= 0x03


def is_memory_fault(state: int) -> bool:
    """True for the programmed states that say a memory is faulty (50-55)."""
    return 0x50 <= state <= 0x55


#: Bytes an address may have.
ADDRESS_WIDTHS: Final = (2, 3, 4)


def address_bytes_of(request: bytes) -> int | None:
    """The width of a module's addresses, from a 34 (by its size) or a 23 or 2D; None where it is not told."""
    fixed = {0x34: 2, 0x23: 3, 0x2D: 4}.get(request[0]) if request else None
    width = len(request) - fixed if fixed is not None else 0
    return width if width in ADDRESS_WIDTHS else None


def _wide(name: str, behind: int, *, says_size: bool = False) -> Item:
    """A number of 2 to 4 bytes, of which the length of the message tells how many; ``behind`` bytes follow it."""

    def read(cursor: Cursor) -> None:
        width = min(max(cursor.left - behind, ADDRESS_WIDTHS[0]), ADDRESS_WIDTHS[-1])
        uint(name, width, says=size_text if says_size else None)(cursor)

    return read


def _by_parity(odd: tuple[Item, ...], even: tuple[Item, ...]) -> Item:
    """Items that depend on whether the level asks for a seed (odd) or sends a key (even)."""

    def read(cursor: Cursor) -> None:
        run(odd if cursor.size("sub_function") % 2 else even, cursor)

    return read


_fault = u24("dtc", says=dtc_text)
_failure: tuple[Item, ...] = (u8("failure_record_number"), _fault)
_level = u8("sub_function", says=named(SECURITY_LEVELS.name))
_identifier = u8("data_identifier", says=named(IDENTIFIERS.name))
_parameter = u16("parameter_identifier")
_record = rest("data_record", least=1)
_transfer = u8("sub_function", says=named(TRANSFERS.name))
_packet = u8("packet_identifier")
_report = u8("sub_function", says=named(FAULT_REPORTS.name))
_kind_of_record = u8("sub_function", says=named(FAILURE_RECORDS.name))


def transfer_layout(address_bytes: int) -> Layout:
    """The layout of a 36 whose address has so many bytes."""
    return Layout(_transfer, uint("memory_address", address_bytes), rest("transfer_request_parameter_record"))


LAYOUTS: Final = {
    **OBD_LAYOUTS,
    request(0x04): Layout(),
    response(0x04): Layout(),
    request(0x10): Layout(u8("sub_function", says=named(OPERATIONS.name))),
    response(0x10): Layout(),
    request(0x12): Layout(_kind_of_record, choose("sub_function", {0x02: _failure})),
    response(0x12): Layout(
        _kind_of_record,
        choose(
            "sub_function",
            {0x01: [u8("failure_record_data_structure_identifier"), many(*_failure)],
             0x02: [*_failure, rest("failure_record_parameters")]},
            [rest("failure_record")],
        ),
    ),
    request(0x1A): Layout(_identifier),
    response(0x1A): Layout(_identifier, _record),
    request(0x20): Layout(),
    response(0x20): Layout(),
    request(0x22): Layout(_parameter, many(_parameter)),
    response(0x22): Layout(_parameter, _record),
    request(0x23): Layout(_wide("memory_address", 2), u16("memory_size", says=size_text)),
    response(0x23): Layout(rest("memory_address_and_data_record", least=1)),
    # Seeds and keys have two bytes; a longer one of a later module is kept whole.
    request(0x27): Layout(_level, _by_parity((), (rest("security_key", least=2),))),
    response(0x27): Layout(_level, _by_parity((rest("security_seed", least=2),), ())),
    request(0x28): Layout(),
    response(0x28): Layout(),
    request(0x2C): Layout(_packet, many(_parameter)),
    response(0x2C): Layout(_packet),
    request(0x2D): Layout(_parameter, _wide("memory_address", 1), u8("memory_size", says=size_text)),
    response(0x2D): Layout(_parameter),
    request(0x34): Layout(u8("data_format_identifier"), _wide("memory_size", 0, says_size=True)),
    response(0x34): Layout(),
    request(0x36): Layout(_transfer, rest("address_and_data_record", least=ADDRESS_WIDTHS[0])),
    response(0x36): Layout(),
    request(0x3B): Layout(_identifier, _record),
    response(0x3B): Layout(_identifier),
    request(0x3E): Layout(),
    response(0x3E): Layout(),
    request(0xA2): Layout(),
    response(0xA2): Layout(u8("programmed_state", says=named(PROGRAMMED_STATES.name))),
    request(0xA5): Layout(u8("sub_function", says=named(PROGRAMMING_MODES.name))),
    response(0xA5): Layout(),
    request(0xA9): Layout(
        _report,
        choose(
            "sub_function",
            {0x80: [_fault], 0x81: [u8("dtc_status_mask")], 0x82: [u8("dtc_status_mask")]},
            [rest("report_record")],
        ),
    ),
    response(0xA9): Layout(rest("report_record")),
    request(0xAA): Layout(u8("sub_function", says=named(PACKET_RATES.name)), many(_packet)),
    response(0xAA): Layout(rest("packet_record")),
    request(0xAE): Layout(u8("control_packet_identifier"), octets("control_bytes", 5)),
    response(0xAE): Layout(u8("control_packet_identifier")),
}  # fmt: skip

#: E3 is followed by two bytes that say which limit.
NEGATIVE: Final = negative.layout(
    GMW3110_NRCS, choose("negative_response_code", {0xE3: [optional(u16("device_control_limit"))]})
)

#: The fields that a positive response repeats from its request. 22 and 23 are apart: see ``matching``.
ECHOES: Final[dict[int, tuple[str, ...]]] = {
    0x12: ("sub_function",),
    0x1A: ("data_identifier",),
    0x27: ("sub_function",),
    0x2C: ("packet_identifier",),
    0x2D: ("parameter_identifier",),
    0x3B: ("data_identifier",),
    0xAE: ("control_packet_identifier",),
}

#: Services whose answers come as frames of their own, outside the transport (M).
ANSWERED_BY_FRAMES: Final = frozenset({0xA9, 0xAA})

_ANY_REPORT: Final = Layout(rest("data_record"))
_REPORT_LAYOUTS: Final = {
    0x80: Layout(_fault, u8("status_of_dtc"), rest("padding")),
    0x81: Layout(_fault, u8("status_of_dtc"), rest("padding")),
    0x82: Layout(u16("number_of_dtc"), rest("padding")),
}


def report_id(response_id: int) -> int | None:
    """The id of the frames that answer A9 and AA, from that of the module's answers: 54x of 64x, 5Ex of 7Ex (M)."""
    if 0x640 <= response_id <= 0x65F:
        return response_id - 0x100
    return response_id - 0x200 if 0x7E8 <= response_id <= 0x7EF else None


def wants_no_answer(request: bytes, *, functional: bool = False) -> bool:
    """True for A5 03, which nobody answers, and for a tester present to all modules (M)."""
    return request[:2] == bytes([0xA5, ENABLE_PROGRAMMING]) or (functional and request[:1] == b"\x3e")


def decode_report(frame: bytes, service: int = 0xA9) -> Decoded:
    """One frame of an answer to A9 or AA, which come without transport header and service identifier (M).

    Args:
        frame: its data bytes.
        service: A9 (the report's number, then a fault and its status, or a count; a list ends with fault
            000000) or AA (packet identifier and up to seven data bytes).
    """
    kind = Kind.POSITIVE if frame else Kind.UNKNOWN
    if service == 0xA9:
        layout = _REPORT_LAYOUTS.get(frame[0] if frame else 0, _ANY_REPORT)
        return layout.decode(frame, service=service, name=SERVICES[service].name, kind=kind, first="sub_function")
    return _ANY_REPORT.decode(frame, service=service, name=SERVICES[service].name, kind=kind, first="packet_identifier")
