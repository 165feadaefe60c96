"""What an identifier is, by the dialect it is read or written in.

Identifiers of one byte exist in KWP2000 (two spaces of them: identification with 1A, local ones with 21 and 3B) and in
GMW3110 (one space, 1A and 3B). Source: ISO 14229-1:2020, annex C; ISO 14230-3 (M); GMW3110 1.6 as in ``gmw3110``.
"""

from __future__ import annotations

from typing import Final

from canlog.names.dids import DIDS, PLAIN, VIN, is_identification, is_tester_stamp
from canlog.names.ranges import Owner
from canlog.services import gmw3110, kwp

ONE_BYTE_VIN: Final = 0x90
READ_IDENTIFICATION: Final = 0x1A

#: GMW3110: who programmed last and when, left by the tester.
_GMW_STAMPS: Final = frozenset({0x98, 0x99, 0x9F})
#: KWP2000: the same in one flavour or the other.
_KWP_STAMPS: Final = frozenset({0x98, 0x99, 0x9A, 0x9B, 0x9F})
#: GMW3110: configuration (A1-A8) and what nobody but the maker knows is data of the vehicle, the rest says what it is.
_GMW_IDENTIFICATION: Final = frozenset(
    {0x92, 0x97, *range(0x9A, 0x9E), *range(0xB0, 0xC0), *gmw3110.PART_IDENTIFIERS, 0xDD, 0xDE}
)


#: Vehicle information of SAE J1979 (service 09) and its identifiers in SAE J1979-2 (M), as people call it.
OBD_INFORMATION: Final = {0xF802: "VIN", 0xF804: "calibration id", 0xF806: "CVN", 0xF80A: "name of the module"}
OBD_SERVICE: Final = 0x09


def identifier_kind(identifier: int, dialect: str = "uds", service: int = 0) -> str:
    """vin, fingerprint, identification or other, by the standard alone.

    F100-F1FF of UDS is identification throughout: nothing in it is a trim unless names say so.
    """
    if dialect == "gmw3110" and identifier <= 0xFF:
        return _kind(
            identifier == ONE_BYTE_VIN, identifier in _GMW_STAMPS, identifier in _GMW_IDENTIFICATION
        )  # fmt: skip
    if dialect == "kwp2000" and identifier <= 0xFF:
        if service != READ_IDENTIFICATION:
            return "other"
        return _kind(identifier == ONE_BYTE_VIN, identifier in _KWP_STAMPS, is_identification=True)
    return _kind(identifier == VIN, is_tester_stamp(identifier), is_identification(identifier))


def _kind(is_vin: bool, is_stamp: bool, is_identification: bool) -> str:
    if is_vin:
        return "vin"
    return "fingerprint" if is_stamp else "identification" if is_identification else "other"


def identifier_name(identifier: int, dialect: str = "uds", service: int = 0) -> str:
    """What the standard calls it, for people; empty where no standard does."""
    if identifier <= 0xFF and dialect in ("gmw3110", "kwp2000"):
        if dialect == "kwp2000" and service != READ_IDENTIFICATION:
            return ""
        table = gmw3110.IDENTIFIERS if dialect == "gmw3110" else kwp.IDENTIFICATIONS
        return table.name(identifier) if table[identifier].owner is Owner.STANDARD else ""
    if identifier in OBD_INFORMATION:
        return OBD_INFORMATION[identifier]
    return PLAIN.get(identifier, DIDS[identifier].name) if DIDS[identifier].owner is Owner.STANDARD else ""


def identifier_text(identifier: int, service: int = 0) -> str:
    """``4A10``; two digits for identifiers of one byte (UDS reserves 0000-00FF); ``09 04`` of service 09."""
    if service == OBD_SERVICE:
        return f"{service:02X} {identifier & 0xFF:02X}"
    return f"{identifier:04X}" if identifier > 0xFF else f"{identifier:02X}"
