"""Which of the 256 first bytes is a service, and what the standard says about each. Total.

Requests are 01-0F (OBD), 10-3E, 83-88 and BA-BE (supplier); a positive response is the request + 40; 7F is
the negative response. So a byte with bit 6 set is never a request. The older dialects have tables of their own
(``kwp``, ``gmw3110``), built by :func:`service_table`.

Source: ISO 14229-1:2020, table 2 and 23 (M); udsoncan 1.26.1, scapy 2.8.0, documentation of the package
``uds`` (ed5bfcc).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from canlog.names.ranges import RangeTable


class ServiceKind(StrEnum):
    """What a first byte is, read as a request."""

    KNOWN = "known"
    OBD = "OBD"
    RESERVED = "reserved"
    MAKER = "maker-specific"
    NOT_A_REQUEST = "not a request"


@dataclass(frozen=True, slots=True)
class Service:
    """One service identifier. ``suppressible``: bit 7 of its sub-function may suppress the positive response."""

    sid: int
    name: str
    kind: ServiceKind
    has_sub_function: bool = False
    suppressible: bool = False
    editions: str = ""

    def __str__(self) -> str:
        return self.name


def _uds(sid: int, name: str, *, sub: bool = False, editions: str = "2006-2020") -> tuple[int, int, Service]:
    return sid, sid, Service(sid, name, ServiceKind.KNOWN, sub, sub, editions)


def _range(first: int, last: int, kind: ServiceKind, name: str = "") -> list[tuple[int, int, Service]]:
    service = Service(0, name or kind.value, kind)
    return [(sid, sid, replace(service, sid=sid)) for sid in range(first, last + 1)]


_RESERVED, _NEVER = ServiceKind.RESERVED, ServiceKind.NOT_A_REQUEST

#: SAE J1979. 05 is not on CAN.
OBD_SERVICES: Final = tuple(
    Service(sid, name, ServiceKind.OBD, editions="SAE J1979")
    for sid, name in {
        0x01: "CurrentPowertrainData",
        0x02: "FreezeFrameData",
        0x03: "EmissionRelatedDTC",
        0x04: "ClearEmissionRelatedInformation",
        0x05: "OxygenSensorMonitoring",
        0x06: "OnBoardMonitoringResults",
        0x07: "PendingEmissionRelatedDTC",
        0x08: "ControlOfOnBoardSystem",
        0x09: "VehicleInformation",
        0x0A: "PermanentEmissionRelatedDTC",
    }.items()
)

#: UDS. Total over 00-FF.
SERVICES: Final = RangeTable(
    0xFF,
    [
        *_range(0x00, 0x00, _NEVER),
        *((service.sid, service.sid, service) for service in OBD_SERVICES),
        *_range(0x0B, 0x0F, ServiceKind.OBD, "reserved for OBD"),
        _uds(0x10, "DiagnosticSessionControl", sub=True),
        _uds(0x11, "ECUReset", sub=True),
        *_range(0x12, 0x13, _RESERVED),
        _uds(0x14, "ClearDiagnosticInformation"),
        *_range(0x15, 0x18, _RESERVED),
        _uds(0x19, "ReadDTCInformation", sub=True),
        *_range(0x1A, 0x21, _RESERVED),
        _uds(0x22, "ReadDataByIdentifier"),
        _uds(0x23, "ReadMemoryByAddress"),
        _uds(0x24, "ReadScalingDataByIdentifier"),
        *_range(0x25, 0x26, _RESERVED),
        _uds(0x27, "SecurityAccess", sub=True),
        _uds(0x28, "CommunicationControl", sub=True),
        _uds(0x29, "Authentication", sub=True, editions="2020"),
        _uds(0x2A, "ReadDataByPeriodicIdentifier"),
        *_range(0x2B, 0x2B, _RESERVED),
        _uds(0x2C, "DynamicallyDefineDataIdentifier", sub=True),
        *_range(0x2D, 0x2D, _RESERVED),
        _uds(0x2E, "WriteDataByIdentifier"),
        _uds(0x2F, "InputOutputControlByIdentifier"),
        *_range(0x30, 0x30, _RESERVED),
        _uds(0x31, "RoutineControl", sub=True),
        *_range(0x32, 0x33, _RESERVED),
        _uds(0x34, "RequestDownload"),
        _uds(0x35, "RequestUpload"),
        _uds(0x36, "TransferData"),
        _uds(0x37, "RequestTransferExit"),
        _uds(0x38, "RequestFileTransfer", editions="2013-2020"),
        *_range(0x39, 0x3C, _RESERVED),
        _uds(0x3D, "WriteMemoryByAddress"),
        _uds(0x3E, "TesterPresent", sub=True),
        *_range(0x3F, 0x82, _NEVER),
        _uds(0x83, "AccessTimingParameter", sub=True, editions="2006-2013"),
        _uds(0x84, "SecuredDataTransmission"),
        _uds(0x85, "ControlDTCSetting", sub=True),
        _uds(0x86, "ResponseOnEvent", sub=True),
        _uds(0x87, "LinkControl", sub=True),
        *_range(0x88, 0x88, _RESERVED),
        *_range(0x89, 0xB9, _NEVER),
        *_range(0xBA, 0xBE, ServiceKind.MAKER, "system supplier specific"),
        *_range(0xBF, 0xFF, _NEVER),
    ],
)

#: The positive response is the request plus this.
RESPONSE_OFFSET: Final = 0x40

#: 01-0F belong to emission diagnostics in every dialect.
LAST_OBD: Final = 0x0F


def service_table(
    known: Iterable[Service], *, maker: Iterable[int] = (), never: Iterable[int] = ()
) -> RangeTable[Service]:
    """A total table over 00-FF: the services known, OBD beside them, the rest by what its number allows.

    Args:
        known: the services that have a name; they win over those of OBD.
        maker: numbers left to the vehicle maker or system supplier.
        never: numbers no request has, besides 00, 3F (its answer would be 7F) and those with bit 6 set.
    """
    by_sid = {service.sid: service for service in (*OBD_SERVICES, *known)}
    makers, nevers = frozenset(maker), frozenset(never)

    def other(sid: int) -> Service:
        if sid in (0x00, 0x3F) or sid & RESPONSE_OFFSET or sid in nevers:
            return Service(sid, _NEVER.value, _NEVER)
        if sid in makers:
            return Service(sid, ServiceKind.MAKER.value, ServiceKind.MAKER)
        if sid <= LAST_OBD:
            return Service(sid, "reserved for OBD", ServiceKind.OBD)
        return Service(sid, _RESERVED.value, _RESERVED)

    return RangeTable(0xFF, [(sid, sid, by_sid.get(sid) or other(sid)) for sid in range(0x100)])


def service_of_response(first: int, services: RangeTable[Service] = SERVICES) -> int | None:
    """The request's identifier that a positive response begins with; None where no response begins so."""
    sid = first - RESPONSE_OFFSET
    if first == 0x7F or sid < 0 or services[sid].kind is ServiceKind.NOT_A_REQUEST:
        return None
    return sid
