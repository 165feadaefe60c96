"""Data identifiers: what each of 0000-FFFF is by the standard. Total.

Trims and configuration live in the maker's range; what they mean is in the user's names file, not here.

Source: ISO 14229-1:2020, annex C.1 (M); names agree with udsoncan 1.26.1 (2006 wording) and the documentation
of the package ``uds`` (ed5bfcc). Encodings and what a workshop writes: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from canlog.names.ranges import MAKER, RESERVED, SUPPLIER, Code, Owner, RangeTable

VIN: Final = 0xF190
ACTIVE_SESSION: Final = 0xF186
PROGRAMMING_DATE: Final = 0xF199
SERIAL_NUMBER: Final = 0xF18C

LEGISLATION: Final = Code("reserved for legislation", Owner.LEGISLATION)
_MAKER_IDENTIFICATION: Final = Code("identification option, vehicle maker specific", Owner.MAKER)
_SUPPLIER_IDENTIFICATION: Final = Code("identification option, system supplier specific", Owner.SUPPLIER)


@dataclass(frozen=True, slots=True)
class Identification:
    """A standard identification. ``changes``: may a programming change it? ``written``: by whom, if at all."""

    name: str
    encoding: str = "ASCII"  # typical, common practice
    changes: bool = False
    written: str = ""


_FINGERPRINT: Final = "maker-defined; often a BCD date and a tester or shop number"
_BY_TESTER: Final = "by the tester while programming"

#: F180-F19F, the standard identifications.
IDENTIFICATIONS: Final = {
    0xF180: Identification("bootSoftwareIdentification", "count, then records of fixed length"),
    0xF181: Identification("applicationSoftwareIdentification", "count, then records of fixed length", True),
    0xF182: Identification("applicationDataIdentification", "count, then records of fixed length", True),
    0xF183: Identification("bootSoftwareFingerprint", _FINGERPRINT, True, _BY_TESTER),
    0xF184: Identification("applicationSoftwareFingerprint", _FINGERPRINT, True, _BY_TESTER),
    0xF185: Identification("applicationDataFingerprint", _FINGERPRINT, True, _BY_TESTER),
    0xF186: Identification("activeDiagnosticSession", "1 byte, session type"),
    0xF187: Identification("vehicleManufacturerSparePartNumber"),
    0xF188: Identification("vehicleManufacturerECUSoftwareNumber", "ASCII or BCD", True),
    0xF189: Identification("vehicleManufacturerECUSoftwareVersionNumber", "ASCII or BCD", True),
    0xF18A: Identification("systemSupplierIdentifier", "ASCII or a code"),
    0xF18B: Identification("ECUManufacturingDate", "BCD date, order varies by maker"),
    0xF18C: Identification("ECUSerialNumber", "ASCII or binary"),
    0xF18D: Identification("supportedFunctionalUnits", "list of codes"),
    0xF18E: Identification("vehicleManufacturerKitAssemblyPartNumber"),
    0xF18F: Identification("regulationXSoftwareIdentificationNumbers", "ASCII list (reserved before 2020)", True),
    0xF190: Identification("VIN", "17 ASCII", written="by the workshop"),
    0xF191: Identification("vehicleManufacturerECUHardwareNumber"),
    0xF192: Identification("systemSupplierECUHardwareNumber"),
    0xF193: Identification("systemSupplierECUHardwareVersionNumber"),
    0xF194: Identification("systemSupplierECUSoftwareNumber", changes=True),
    0xF195: Identification("systemSupplierECUSoftwareVersionNumber", changes=True),
    0xF196: Identification("exhaustRegulationOrTypeApprovalNumber"),
    0xF197: Identification("systemNameOrEngineType"),
    0xF198: Identification("repairShopCodeOrTesterSerialNumber", "ASCII or BCD", True, _BY_TESTER),
    0xF199: Identification("programmingDate", "BCD date, order varies by maker", True, _BY_TESTER),
    0xF19A: Identification(
        "calibrationRepairShopCodeOrCalibrationEquipmentSerialNumber", "ASCII or BCD", True, "by the tester"
    ),
    0xF19B: Identification("calibrationDate", "BCD date", True, "by the tester"),
    0xF19C: Identification("calibrationEquipmentSoftwareNumber", "ASCII", True, "by the tester"),
    0xF19D: Identification("ECUInstallationDate", "BCD date", written="by the workshop"),
    0xF19E: Identification("ODXFile", changes=True),
    0xF19F: Identification("entity", "used with secured data transmission"),
}

#: What a person calls the standard identifications that are read most.
PLAIN: Final = {
    0xF180: "boot loader identification",
    0xF181: "application software identification",
    0xF182: "application data identification",
    0xF183: "boot loader fingerprint",
    0xF184: "application software fingerprint",
    0xF185: "application data fingerprint",
    0xF186: "active session",
    0xF187: "spare part number",
    0xF188: "software number",
    0xF189: "software version",
    0xF18A: "supplier",
    0xF18B: "manufacturing date",
    0xF18C: "serial number",
    0xF190: "VIN",
    0xF191: "hardware number",
    0xF192: "supplier's hardware number",
    0xF193: "supplier's hardware version",
    0xF194: "supplier's software number",
    0xF195: "supplier's software version",
    0xF198: "shop code or tester serial number",
    0xF199: "programming date",
}

#: Total over 0000-FFFF.
DIDS: Final = RangeTable(
    0xFFFF,
    [
        (0x0000, 0x00FF, RESERVED),
        (0x0100, 0xA5FF, MAKER),
        (0xA600, 0xA7FF, LEGISLATION),  # gaps from 2013 on; the maker's in 2006
        (0xA800, 0xACFF, MAKER),
        (0xAD00, 0xAFFF, LEGISLATION),
        (0xB000, 0xB1FF, MAKER),
        (0xB200, 0xBFFF, LEGISLATION),
        (0xC000, 0xC2FF, MAKER),
        (0xC300, 0xCEFF, LEGISLATION),
        (0xCF00, 0xEFFF, MAKER),
        (0xF000, 0xF00F, Code("network configuration of tractor and trailer")),
        (0xF010, 0xF0FF, MAKER),
        (0xF100, 0xF17F, _MAKER_IDENTIFICATION),
        *((did, did, Code(entry.name)) for did, entry in IDENTIFICATIONS.items()),
        (0xF1A0, 0xF1EF, _MAKER_IDENTIFICATION),
        (0xF1F0, 0xF1FF, _SUPPLIER_IDENTIFICATION),
        (0xF200, 0xF2FF, Code("periodic data identifier")),
        (0xF300, 0xF3FF, Code("dynamically defined data identifier")),
        (0xF400, 0xF5FF, Code("OBD parameter", Owner.LEGISLATION)),
        (0xF600, 0xF6FF, Code("OBD monitor", Owner.LEGISLATION)),
        (0xF700, 0xF7FF, Code("OBD monitor (before 2020) or OBD parameter (2020)", Owner.LEGISLATION)),
        (0xF800, 0xF8FF, Code("OBD vehicle information", Owner.LEGISLATION)),
        (0xF900, 0xF9FF, Code("tachograph", Owner.LEGISLATION)),
        (0xFA00, 0xFA0F, Code("airbag deployment", Owner.LEGISLATION)),
        (0xFA10, 0xFA18, Code("event data recorder", Owner.LEGISLATION)),
        (0xFA19, 0xFAFF, Code("safety system", Owner.LEGISLATION)),
        (0xFB00, 0xFCFF, LEGISLATION),
        (0xFD00, 0xFEFF, SUPPLIER),
        (0xFF00, 0xFF00, Code("UDSVersion")),
        (0xFF01, 0xFF01, Code("reserved for ISO 15765-5")),
        (0xFF02, 0xFFFF, RESERVED),
    ],
)


def is_identification(did: int) -> bool:
    """True for what says which module and software this is: F100-F1FF, standard or the maker's own."""
    return 0xF100 <= did <= 0xF1FF


def is_fingerprint(did: int) -> bool:
    """True for F183-F185: who programmed, written by the tester; no trim and no proof."""
    return 0xF183 <= did <= 0xF185


def is_tester_stamp(did: int) -> bool:
    """True for what a tester leaves behind: fingerprints, shop code, dates of programming and calibration."""
    return is_fingerprint(did) or 0xF198 <= did <= 0xF19D


def changes_with_software(did: int) -> bool:
    """True for standard identifications that a programming usually changes (common practice, no source)."""
    return did in IDENTIFICATIONS and IDENTIFICATIONS[did].changes


def obd_parameter(did: int) -> int | None:
    """F4xx carries what service 01 parameter xx does (M); None for any other identifier."""
    return did & 0xFF if did >> 8 == 0xF4 else None


def obd_vehicle_information(did: int) -> int | None:
    """F8xx carries what service 09 infotype xx does (M); None for any other identifier."""
    return did & 0xFF if did >> 8 == 0xF8 else None
