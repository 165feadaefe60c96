"""The fault memory: services 14 and 19.

Records of snapshots and extended data have no lengths on the wire: they stay whole (``…_record``). A list
of faults is repeated groups: ``decoded.rows("dtc", "status_of_dtc")``. Only the bits set in
``dtc_status_availability_mask`` count.

Source: ISO 14229-1:2020, 12.2, 12.3, annex D (M); layouts agree with udsoncan 1.26.1; 01-15 also with
scapy 2.8.0.
"""

from __future__ import annotations

from typing import Final

from canlog.names.dtc import dtc_text, mask_text, status_text
from canlog.names.ranges import RESERVED, RangeTable, singles
from canlog.services.layout import (
    Item,
    Layout,
    choose,
    decimal,
    many,
    named,
    optional,
    request,
    response,
    rest,
    sub_function,
    sub_function_echo,
    u8,
    u16,
    u24,
    uint,
)

#: Total over 00-7F. 0F-13 belong to editions before 2020, 1A and 56 to 2020.
DTC_REPORTS: Final = RangeTable(
    0x7F,
    [
        (0x00, 0x00, RESERVED),
        *singles(
            {
                0x01: "reportNumberOfDTCByStatusMask",
                0x02: "reportDTCByStatusMask",
                0x03: "reportDTCSnapshotIdentification",
                0x04: "reportDTCSnapshotRecordByDTCNumber",
                0x05: "reportDTCStoredDataByRecordNumber",
                0x06: "reportDTCExtDataRecordByDTCNumber",
                0x07: "reportNumberOfDTCBySeverityMaskRecord",
                0x08: "reportDTCBySeverityMaskRecord",
                0x09: "reportSeverityInformationOfDTC",
                0x0A: "reportSupportedDTC",
                0x0B: "reportFirstTestFailedDTC",
                0x0C: "reportFirstConfirmedDTC",
                0x0D: "reportMostRecentTestFailedDTC",
                0x0E: "reportMostRecentConfirmedDTC",
                0x0F: "reportMirrorMemoryDTCByStatusMask",
                0x10: "reportMirrorMemoryDTCExtDataRecordByDTCNumber",
                0x11: "reportNumberOfMirrorMemoryDTCByStatusMask",
                0x12: "reportNumberOfEmissionsOBDDTCByStatusMask",
                0x13: "reportEmissionsOBDDTCByStatusMask",
                0x14: "reportDTCFaultDetectionCounter",
                0x15: "reportDTCWithPermanentStatus",
                0x16: "reportDTCExtDataRecordByRecordNumber",
                0x17: "reportUserDefMemoryDTCByStatusMask",
                0x18: "reportUserDefMemoryDTCSnapshotRecordByDTCNumber",
                0x19: "reportUserDefMemoryDTCExtDataRecordByDTCNumber",
                0x1A: "reportSupportedDTCExtDataRecord",
            }
        ),
        (0x1B, 0x41, RESERVED),
        *singles({0x42: "reportWWHOBDDTCByMaskRecord"}),
        (0x43, 0x54, RESERVED),
        *singles(
            {0x55: "reportWWHOBDDTCWithPermanentStatus", 0x56: "reportDTCInformationByDTCReadinessGroupIdentifier"}
        ),
        (0x57, 0x7F, RESERVED),
    ],
)

#: Total over 00-FF: how the codes of a list are to be read.
DTC_FORMATS: Final = RangeTable(
    0xFF,
    [
        *singles(
            {
                0x00: "SAE J2012-DA format 00",
                0x01: "ISO 14229-1",
                0x02: "SAE J1939-73",
                0x03: "ISO 11992-4",
                0x04: "SAE J2012-DA format 04",
            }
        ),
        (0x05, 0xFF, RESERVED),
    ],
)

#: Groups of 14 that ISO 14229-1 fixes; powertrain, chassis, body and network are the maker's choice.
DTC_GROUPS: Final = {
    0xFFFFFF: "all groups",
    0xFFFF33: "emission system",
    0xFFFFD0: "safety system",
    0xFFFFFE: "VOBD system",
}


def group_text(value: int) -> str:
    """The group of a clear request."""
    return f"{value:06X} {DTC_GROUPS.get(value, 'maker-defined group or a single code')}"


_dtc = u24("dtc", says=dtc_text)
_status = u8("status_of_dtc", says=status_text)
_mask = u8("dtc_status_mask", says=mask_text)
_availability = u8("dtc_status_availability_mask", says=mask_text)
_severity_mask = u8("dtc_severity_mask")
_severity = u8("dtc_severity")
_format = u8("dtc_format_identifier", says=named(DTC_FORMATS.name))
_count = u16("dtc_count", says=decimal)
_memory = u8("memory_selection")
_snapshot = u8("dtc_snapshot_record_number")
_stored = u8("dtc_stored_data_record_number")
_extended = u8("dtc_ext_data_record_number")
_group = u8("functional_group_identifier")
_readiness = u8("dtc_readiness_group_identifier")

_list: list[Item] = [_availability, many(_dtc, _status)]
_number: list[Item] = [_availability, _format, _count]
_of_one_code: list[Item] = [_dtc, _status, rest("dtc_snapshot_record")]
_extended_of_one_code: list[Item] = [_dtc, _status, rest("dtc_ext_data_record")]

#: Total over the sub-functions that are not reserved.
REQUESTS: Final[dict[int, list[Item]]] = {
    0x01: [_mask],
    0x02: [_mask],
    0x03: [],
    0x04: [_dtc, _snapshot],
    0x05: [_stored],
    0x06: [_dtc, _extended],
    0x07: [_severity_mask, _mask],
    0x08: [_severity_mask, _mask],
    0x09: [_dtc],
    0x0A: [],
    0x0B: [],
    0x0C: [],
    0x0D: [],
    0x0E: [],
    0x0F: [_mask],
    0x10: [_dtc, _extended],
    0x11: [_mask],
    0x12: [_mask],
    0x13: [_mask],
    0x14: [],
    0x15: [],
    0x16: [_extended],
    0x17: [_mask, _memory],
    0x18: [_dtc, _snapshot, _memory],
    0x19: [_dtc, _extended, _memory],
    0x1A: [_extended],
    0x42: [_group, _mask, _severity_mask],
    0x55: [_group],
    0x56: [_group, _readiness],
}

#: Total over the sub-functions that are not reserved.
RESPONSES: Final[dict[int, list[Item]]] = {
    0x01: _number,
    0x02: _list,
    0x03: [many(_dtc, _snapshot)],
    0x04: _of_one_code,
    0x05: [_stored, optional(_dtc, _status, rest("dtc_stored_data_record"))],
    0x06: _extended_of_one_code,
    0x07: _number,
    0x08: [_availability, many(_severity, u8("dtc_functional_unit"), _dtc, _status)],
    0x09: [_availability, many(_severity, u8("dtc_functional_unit"), _dtc, _status)],
    0x0A: _list,
    0x0B: _list,
    0x0C: _list,
    0x0D: _list,
    0x0E: _list,
    0x0F: _list,
    0x10: _extended_of_one_code,
    0x11: _number,
    0x12: _number,
    0x13: _list,
    0x14: [many(_dtc, uint("dtc_fault_detection_counter", 1, signed=True, says=decimal))],
    0x15: _list,
    0x16: [_extended, rest("dtc_ext_data_record")],
    0x17: [_memory, *_list],
    0x18: [_memory, *_of_one_code],
    0x19: [_memory, *_extended_of_one_code],
    0x1A: [_availability, optional(_extended, many(_dtc, _status))],
    0x42: [
        _group,
        _availability,
        u8("dtc_severity_availability_mask"),
        _format,
        many(_severity, _dtc, _status),
    ],
    0x55: [_group, _availability, _format, many(_dtc, _status)],
    0x56: [_group, _availability, _format, _readiness, many(_dtc, _status)],
}

LAYOUTS: Final = {
    request(0x14): Layout(u24("group_of_dtc", says=group_text), optional(_memory)),
    response(0x14): Layout(),
    request(0x19): Layout(sub_function(DTC_REPORTS.name), choose("sub_function", REQUESTS, [rest("report_record")])),
    response(0x19): Layout(
        *sub_function_echo(DTC_REPORTS.name), choose("sub_function", RESPONSES, [rest("report_record")])
    ),
}
