"""KWP2000 on CAN: the services of ISO 14230-3, as modules speak them over ISO 15765-2.

What differs from UDS although the number is the same: the byte behind 10 is a mode as a whole (10 85 opens a
programming session and is answered 50 85: no bit 7 asks for silence); 14 names a group of two bytes, repeated
by the answer; 23, 34, 35 and 3D hold three-byte addresses without a format byte; the answer to 34 is the block
length alone; 31 starts a routine of one byte, 32 stops it and 33 asks for its results; 28, 29, 3E and 85 say in
a byte whether an answer is wanted.

In the standard itself a block of 36 has no counter, in a flavour that scapy knows it has one. No single message
tells, so a block stays whole here and :func:`blocks_are_counted` judges from several.

Source: ISO 14230-3 (M); layouts agree with scapy 2.8.0 except where tests/oracles says so. 12, 13, 20, 2F, 38-3A
and 80-83 are not in scapy: from memory.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import Final

from canlog.names.dtc import two_byte_dtc_text
from canlog.names.nrc import KWP_NRCS
from canlog.names.ranges import MAKER, RESERVED, SUPPLIER, Code, RangeTable, singles
from canlog.services import negative
from canlog.services.layout import (
    Cursor,
    Item,
    Layout,
    bits,
    decimal,
    flag,
    many,
    named,
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
    0x10: "StartDiagnosticSession", 0x11: "ECUReset", 0x12: "ReadFreezeFrameData",
    0x13: "ReadDiagnosticTroubleCodes", 0x14: "ClearDiagnosticInformation",
    0x17: "ReadStatusOfDiagnosticTroubleCodes", 0x18: "ReadDiagnosticTroubleCodesByStatus",
    0x1A: "ReadECUIdentification", 0x20: "StopDiagnosticSession", 0x21: "ReadDataByLocalIdentifier",
    0x22: "ReadDataByIdentifier", 0x23: "ReadMemoryByAddress", 0x27: "SecurityAccess",
    0x28: "DisableNormalMessageTransmission", 0x29: "EnableNormalMessageTransmission",
    0x2C: "DynamicallyDefineLocalIdentifier", 0x2E: "WriteDataByIdentifier",
    0x2F: "InputOutputControlByIdentifier", 0x30: "InputOutputControlByLocalIdentifier",
    0x31: "StartRoutineByLocalIdentifier", 0x32: "StopRoutineByLocalIdentifier",
    0x33: "RequestRoutineResultsByLocalIdentifier", 0x34: "RequestDownload", 0x35: "RequestUpload",
    0x36: "TransferData", 0x37: "RequestTransferExit", 0x38: "StartRoutineByAddress", 0x39: "StopRoutineByAddress",
    0x3A: "RequestRoutineResultsByAddress", 0x3B: "WriteDataByLocalIdentifier", 0x3D: "WriteMemoryByAddress",
    0x3E: "TesterPresent", 0x80: "EscapeCode", 0x81: "StartCommunication", 0x82: "StopCommunication",
    0x83: "AccessTimingParameters", 0x85: "ControlDTCSetting", 0x86: "ResponseOnEvent",
}  # fmt: skip

#: Services whose byte 1 says whether an answer is wanted.
ASK_FOR_ANSWER: Final = frozenset({0x28, 0x29, 0x3E, 0x85, 0x86})

#: Total over 00-FF. A0-BE are left to maker and supplier (M).
SERVICES: Final = service_table(
    [Service(sid, name, ServiceKind.KNOWN, editions="ISO 14230-3") for sid, name in _NAMES.items()],
    maker=range(0xA0, 0xBF), never=(0xBF,),
)  # fmt: skip

#: Total over 00-FF: the mode is the whole byte.
SESSIONS: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x80, RESERVED),
        *singles({0x81: "defaultSession"}),
        (0x82, 0x84, RESERVED),
        *singles({0x85: "programmingSession", 0x86: "developmentSession (M)", 0x87: "adjustmentSession (M)"}),
        (0x88, 0x88, RESERVED),
        *singles({0x89: "standBySession", 0x90: "ecuPassiveSession", 0x92: "extendedDiagnosticSession"}),
        (0x8A, 0x8F, MAKER),
        (0x91, 0x91, MAKER),
        (0x93, 0xF9, MAKER),
        (0xFA, 0xFE, SUPPLIER),
        (0xFF, 0xFF, RESERVED),
    ],
)

#: Total over 00-FF; the ranges are from memory.
RESETS: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x00, RESERVED),
        *singles({0x01: "powerOnReset"}),
        (0x02, 0x81, RESERVED),
        *singles({0x82: "nonvolatileMemoryReset"}),
        (0x83, 0xF9, MAKER),
        (0xFA, 0xFE, SUPPLIER),
        (0xFF, 0xFF, RESERVED),
    ],
)

RESPONSE_REQUIRED, NO_RESPONSE = 0x01, 0x02

#: Total over 00-FF: byte 1 of 28, 29, 3E, 85 and 86.
RESPONSE_TYPES: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x00, RESERVED),
        *singles({RESPONSE_REQUIRED: "responseRequired", NO_RESPONSE: "noResponse"}),
        (0x03, 0xFF, RESERVED),
    ],
)

#: Total over 00-FF. 08 stores a trim for good. 02, 03, 06 and 09 are from memory.
IO_CONTROLS: Final = RangeTable(
    0xFF,
    [
        *singles(
            {
                0x00: "returnControlToECU",
                0x01: "reportCurrentState",
                0x02: "reportIOConditions (M)",
                0x03: "reportIOScaling (M)",
                0x04: "resetToDefault",
                0x05: "freezeCurrentState",
                0x06: "executeControlOption (M)",
                0x07: "shortTermAdjustment",
                0x08: "longTermAdjustment",
                0x09: "reportIOCalibrationParameters (M)",
            }
        ),
        (0x0A, 0xFF, Code("reserved or maker specific")),
    ],
)

#: Total over 00-FF: what 85 does with the fault memory.
DTC_SETTINGS: Final = RangeTable(
    0xFF, [(0x00, 0x00, RESERVED), *singles({0x01: "on", 0x02: "off"}), (0x03, 0xFF, RESERVED)]
)

#: Total over 00-FF: how 2C defines.
DEFINITION_MODES: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x00, RESERVED),
        *singles(
            {
                0x01: "defineByLocalIdentifier",
                0x02: "defineByMemoryAddress",
                0x03: "defineByIdentifier",
                0x04: "clearDynamicallyDefinedLocalIdentifier",
            }
        ),
        (0x05, 0xFF, RESERVED),
    ],
)

#: Total over 00-FF: what 1A reads. Only the VIN is the same everywhere; the rest of 86-9F differs by maker.
IDENTIFICATIONS: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x7F, RESERVED),
        *singles({0x80: "identification table (M)", 0x81: "identification scaling table (M)"}),
        (0x82, 0x8F, Code("identification, varies by maker", MAKER.owner)),
        *singles({0x90: "VIN"}),
        (0x91, 0x9F, Code("identification, varies by maker", MAKER.owner)),
        (0xA0, 0xFE, MAKER),
        (0xFF, 0xFF, RESERVED),
    ],
)

VIN: Final = 0x90
#: So many first bytes in a row are a counter also where 01 is not among them.
FEWEST_WITHOUT_A_BEGINNING: Final = 3
PROGRAMMING_SESSION: Final = 0x85

#: Groups of faults of 14, 17, 18 and 85; any other number is one fault code.
DTC_GROUPS: Final = {
    0x0000: "all powertrain", 0x4000: "all chassis", 0x8000: "all body", 0xC000: "all network", 0xFF00: "all groups",
}  # fmt: skip

#: Bits 6-5 of a fault's status (M): for display only.
STORAGE_STATES: Final = {
    0: "not detected (M)", 1: "stored, not present now (M)", 2: "present, not stored yet (M)",
    3: "present and stored (M)",
}  # fmt: skip


def group_text(group: int) -> str:
    """``FF00 all groups``, or the fault code."""
    return f"{group:04X} {DTC_GROUPS.get(group, two_byte_dtc_text(group))}"


def _block_length(cursor: Cursor) -> None:
    """One or two bytes, no format in front; nothing where the module announces none."""
    if cursor.left:
        uint("max_number_of_block_length", min(cursor.left, 2), says=lambda value: f"{value} bytes a block")(cursor)


def _by_parity(odd: tuple[Item, ...], even: tuple[Item, ...]) -> Item:
    """Items that depend on whether the access mode asks for a seed (odd) or sends a key (even)."""

    def read(cursor: Cursor) -> None:
        run(odd if cursor.size("access_mode") % 2 else even, cursor)

    return read


_answer_wanted = u8("response_required", says=named(RESPONSE_TYPES.name))
_group = u16("group_of_dtc", says=group_text)
_fault: tuple[Item, ...] = (
    u16("dtc", says=two_byte_dtc_text),
    u8("status_of_dtc", parts=(flag("warning_lamp", 7), bits("storage_state", 6, 5, lambda v: STORAGE_STATES[v]))),
)
_faults: tuple[Item, ...] = (u8("number_of_dtc", says=decimal), many(*_fault, count="number_of_dtc"))
_session = u8("diagnostic_mode", says=named(SESSIONS.name))
_identification = u8("identification_option", says=named(IDENTIFICATIONS.name))
_local = u8("local_identifier")
_common = u16("data_identifier")
_routine = u8("routine_local_identifier")
_place: tuple[Item, ...] = (u24("memory_address"), u8("memory_size", says=size_text))
_io = u8("input_output_control_parameter", says=named(IO_CONTROLS.name))
_control: tuple[Item, ...] = (_io, rest("control_state"))
_load = Layout(
    u24("memory_address"),
    u8("data_format_identifier", parts=(bits("compression_method", 7, 4), bits("encrypting_method", 3, 0))),
    u24("memory_size", says=size_text),
)
_record = rest("data_record", least=1)
_option = rest("routine_entry_option_record")
_status = rest("routine_status_record")
_entry = u24("routine_address")

LAYOUTS: Final = {
    **OBD_LAYOUTS,
    request(0x10): Layout(_session),
    response(0x10): Layout(_session),
    request(0x11): Layout(u8("reset_mode", says=named(RESETS.name))),
    response(0x11): Layout(rest("reset_status")),
    request(0x12): Layout(rest("freeze_frame_record")),
    response(0x12): Layout(rest("freeze_frame_record")),
    request(0x13): Layout(optional(_group)),
    response(0x13): Layout(
        u8("number_of_dtc", says=decimal), many(u16("dtc", says=two_byte_dtc_text), count="number_of_dtc")
    ),
    request(0x14): Layout(_group),
    response(0x14): Layout(_group),
    request(0x17): Layout(_group),
    response(0x17): Layout(*_faults),
    request(0x18): Layout(u8("status_of_dtc_request"), _group),
    response(0x18): Layout(*_faults),
    request(0x1A): Layout(_identification),
    response(0x1A): Layout(_identification, _record),
    request(0x20): Layout(),
    response(0x20): Layout(),
    request(0x21): Layout(_local, rest("transmission_record")),
    response(0x21): Layout(_local, _record),
    request(0x22): Layout(_common, rest("transmission_record")),
    response(0x22): Layout(_common, _record),
    request(0x23): Layout(*_place, rest("transmission_record")),
    response(0x23): Layout(_record),
    request(0x27): Layout(
        u8("access_mode"), _by_parity((rest("security_access_data_record"),), (rest("security_key", least=1),))
    ),
    response(0x27): Layout(
        u8("access_mode"), _by_parity((rest("security_seed", least=1),), (rest("security_access_status"),))
    ),
    request(0x28): Layout(optional(_answer_wanted)),
    response(0x28): Layout(),
    request(0x29): Layout(optional(_answer_wanted)),
    response(0x29): Layout(),
    request(0x2C): Layout(
        u8("dynamically_defined_local_identifier"),
        u8("definition_mode", says=named(DEFINITION_MODES.name)),
        rest("definition_record"),
    ),
    response(0x2C): Layout(u8("dynamically_defined_local_identifier")),
    request(0x2E): Layout(_common, _record),
    response(0x2E): Layout(_common),
    request(0x2F): Layout(_common, *_control),
    response(0x2F): Layout(_common, *_control),
    request(0x30): Layout(_local, *_control),
    response(0x30): Layout(_local, *_control),
    request(0x31): Layout(_routine, _option),
    response(0x31): Layout(_routine, _status),
    request(0x32): Layout(_routine, _option),
    response(0x32): Layout(_routine, _status),
    request(0x33): Layout(_routine, _option),
    response(0x33): Layout(_routine, _status),
    request(0x34): _load,
    response(0x34): Layout(_block_length),
    request(0x35): _load,
    response(0x35): Layout(_block_length),
    request(0x36): Layout(rest("transfer_request_parameter_record")),
    response(0x36): Layout(rest("transfer_response_parameter_record")),
    request(0x37): Layout(rest("transfer_request_parameter_record")),
    response(0x37): Layout(rest("transfer_response_parameter_record")),
    request(0x38): Layout(_entry, _option),
    response(0x38): Layout(_entry, _status),
    request(0x39): Layout(_entry, _option),
    response(0x39): Layout(_entry, _status),
    request(0x3A): Layout(_entry, _option),
    response(0x3A): Layout(_entry, _status),
    request(0x3B): Layout(_local, _record),
    response(0x3B): Layout(_local),
    request(0x3D): Layout(*_place, _record),
    response(0x3D): Layout(u24("memory_address")),
    request(0x3E): Layout(optional(_answer_wanted)),
    response(0x3E): Layout(),
    request(0x80): Layout(rest("manufacturer_specific_record")),
    response(0x80): Layout(rest("manufacturer_specific_record")),
    request(0x81): Layout(),
    response(0x81): Layout(rest("key_bytes")),
    request(0x82): Layout(),
    response(0x82): Layout(),
    request(0x83): Layout(u8("timing_parameter_identifier"), rest("timing_parameter_record")),
    response(0x83): Layout(u8("timing_parameter_identifier"), rest("timing_parameter_record")),
    request(0x85): Layout(
        _answer_wanted, _group, u8("dtc_setting_mode", says=named(DTC_SETTINGS.name)), rest("setting_record")
    ),
    response(0x85): Layout(),
    request(0x86): Layout(_answer_wanted, u8("event_window_time"), u8("event_type"), rest("event_record")),
    response(0x86): Layout(
        u8("number_of_activated_events", says=decimal), u8("event_window_time"), u8("event_type"), rest("event_record")
    ),
}

NEGATIVE: Final = negative.layout(KWP_NRCS)

#: The fields that a positive response repeats from its request. 36 is apart: see ``matching``.
ECHOES: Final[dict[int, tuple[str, ...]]] = {
    0x10: ("diagnostic_mode",),
    0x14: ("group_of_dtc",),
    0x1A: ("identification_option",),
    0x21: ("local_identifier",),
    0x22: ("data_identifier",),
    0x27: ("access_mode",),
    0x2C: ("dynamically_defined_local_identifier",),
    0x2E: ("data_identifier",),
    0x2F: ("data_identifier",),
    0x30: ("local_identifier", "input_output_control_parameter"),
    0x31: ("routine_local_identifier",),
    0x32: ("routine_local_identifier",),
    0x33: ("routine_local_identifier",),
    0x38: ("routine_address",),
    0x39: ("routine_address",),
    0x3A: ("routine_address",),
    0x3B: ("local_identifier",),
    0x3D: ("memory_address",),
    0x83: ("timing_parameter_identifier",),
}


def wants_no_answer(request: bytes) -> bool:
    """True where byte 1 says 02, "no response". Bit 7 of it has no such meaning here."""
    return len(request) > 1 and request[0] in ASK_FOR_ANSWER and request[1] == NO_RESPONSE


def blocks_are_counted(blocks: Iterable[bytes], answered: Iterable[bytes] = ()) -> bool | None:
    """Whether the 36 messages of one transfer carry a block counter, from the messages themselves.

    Args:
        blocks: 36 messages in order, repeats included.
        answered: the positive answers (76 …).

    Returns:
        True where answers of several blocks repeat their first bytes, or these run one by one (over FF to 00, a
        repeat allowed), from 01 or for at least three blocks, and no answer says otherwise. Most are enough, for
        messages may be lost. False where they do not; None with fewer than two different blocks.
    """
    firsts = [block[1] if len(block) > 1 else None for block in dict.fromkeys(blocks)]
    if len(firsts) < 2:
        return None
    echoed = {answer[1] for answer in answered if len(answer) > 1}
    if len(echoed) > 1 and echoed <= set(firsts):
        return True
    steps = [one is not None and other == (one + 1) & 0xFF for one, other in pairwise(firsts)]
    runs: bool = 2 * sum(steps) > len(steps) and (firsts[0] == 1 or len(firsts) >= FEWEST_WITHOUT_A_BEGINNING)
    return runs and 2 * len(echoed & set(firsts)) >= len(echoed)
