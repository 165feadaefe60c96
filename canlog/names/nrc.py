"""Negative response codes: what each of the 256 values says and what it usually means in a workshop.

``NRCS[code]`` is total. ``workshop_cause`` is common practice, no source: a place to look first, no proof.
KWP2000 and GMW3110 use some of the numbers of UDS for other things (23, 40, 50, 80 and above), so there is one
total table per dialect: know the dialect before you read a code.

Source: names and codes ISO 14229-1:2020, annex A.1 (M); they agree with udsoncan 1.26.1, scapy 2.8.0 and the
documentation of the package ``uds`` (ed5bfcc). KWP2000: ISO 14230-3 (M), GMW3110 1.6 and SAE J1979; they agree
with scapy 2.8.0 as far as it names them, other codes of KWP2000 are from memory.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from canlog.names.ranges import RangeTable


class NrcGroup(StrEnum):
    """What kind of thing stands in the way."""

    REQUEST = "request"
    CONDITION = "condition"
    SECURITY = "security"
    PROGRAMMING = "programming"
    VOLTAGE = "voltage"
    WAIT = "wait"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Nrc:
    """One code. ``is_final`` is False where the standard expects the exchange to go on (21, 78, 94)."""

    code: int
    name: str
    meaning: str
    group: NrcGroup
    workshop_cause: str = ""  # common practice, no source
    is_final: bool = True
    is_reserved: bool = False

    @property
    def hidden_when_functional(self) -> bool:
        """True for the codes that a server keeps to itself when it was asked functionally (ISO 14229-1, 8.7 (M))."""
        return self.code in HIDDEN_WHEN_FUNCTIONAL

    def __str__(self) -> str:
        return self.name


HIDDEN_WHEN_FUNCTIONAL: Final = frozenset({0x11, 0x12, 0x31, 0x7E, 0x7F})

REQUEST, CONDITION, SECURITY = NrcGroup.REQUEST, NrcGroup.CONDITION, NrcGroup.SECURITY
PROGRAMMING, VOLTAGE, WAIT, OTHER = NrcGroup.PROGRAMMING, NrcGroup.VOLTAGE, NrcGroup.WAIT, NrcGroup.OTHER

_CERTIFICATE = "the certificate was made for another module, purpose or issuer, or has run out"

_KNOWN: Final = (
    Nrc(0x10, "generalReject", "refused without a closer reason", OTHER,
        "a server that keeps its reasons to itself; follow the documented order of steps"),
    Nrc(0x11, "serviceNotSupported", "the module does not have this service in any session", REQUEST,
        "another module or dialect than expected, or only the boot loader answers"),
    Nrc(0x12, "subFunctionNotSupported", "the service exists, this sub-function does not", REQUEST,
        "another variant of the module, or a security level that it does not have"),
    Nrc(0x13, "incorrectMessageLengthOrInvalidFormat", "the request is too long, too short or badly built", REQUEST,
        "data of another variant or a file that does not fit; padding sent as data"),
    Nrc(0x14, "responseTooLong", "the answer would not fit into one message", REQUEST,
        "too many identifiers asked at once"),
    Nrc(0x21, "busyRepeatRequest", "busy; the tester should send the same request again", WAIT,
        "a second tester is connected, or the module is busy with a job of its own", is_final=False),
    Nrc(0x22, "conditionsNotCorrect", "a condition for this action is not met", CONDITION,
        "ignition, running engine, gear, immobiliser, key, door or hood, low supply"),
    Nrc(0x24, "requestSequenceError", "this step is not due now", REQUEST,
        "a block without an accepted download, a key without a seed, an end before all data were carried"),
    Nrc(0x25, "noResponseFromSubnetComponent", "the node behind this gateway did not answer", CONDITION,
        "the module behind the gateway has no supply or is not connected"),
    Nrc(0x26, "failurePreventsExecutionOfRequestedAction", "a fault in the module forbids the action", CONDITION,
        "read the fault memory and repair first"),
    Nrc(0x31, "requestOutOfRange", "unknown identifier or address, or a value that is not allowed", REQUEST,
        "the identifier is not in this variant, the file is for other hardware, or a value is implausible"),
    Nrc(0x33, "securityAccessDenied", "the module is locked", SECURITY,
        "never unlocked, wrong level, or relocked by a session change or a session that ran out"),
    Nrc(0x34, "authenticationRequired", "the module wants an authentication first", SECURITY,
        "certificate or online approval is missing"),
    Nrc(0x35, "invalidKey", "the key is wrong", SECURITY,
        "wrong algorithm, level or seed; each try counts"),
    Nrc(0x36, "exceedNumberOfAttempts", "too many wrong keys", SECURITY,
        "locked out; wait with the supply on, as the service information says"),
    Nrc(0x37, "requiredTimeDelayNotExpired", "the waiting time after wrong keys is not over", SECURITY,
        "wait; many modules count only while powered"),
    Nrc(0x38, "secureDataTransmissionRequired", "this must be sent inside a secured message", SECURITY),
    Nrc(0x39, "secureDataTransmissionNotAllowed", "this must not be sent inside a secured message", SECURITY),
    Nrc(0x3A, "secureDataVerificationFailed", "the content of the secured message did not verify", SECURITY),
    Nrc(0x50, "certificateVerificationFailedInvalidTimePeriod", "certificate refused: not valid at this time",
        SECURITY, "the module's clock is wrong or the certificate has run out"),
    Nrc(0x51, "certificateVerificationFailedInvalidSignature", "certificate refused: signature", SECURITY,
        _CERTIFICATE),
    Nrc(0x52, "certificateVerificationFailedInvalidChainOfTrust", "certificate refused: chain of trust", SECURITY,
        _CERTIFICATE),
    Nrc(0x53, "certificateVerificationFailedInvalidType", "certificate refused: type", SECURITY, _CERTIFICATE),
    Nrc(0x54, "certificateVerificationFailedInvalidFormat", "certificate refused: format", SECURITY, _CERTIFICATE),
    Nrc(0x55, "certificateVerificationFailedInvalidContent", "certificate refused: content", SECURITY, _CERTIFICATE),
    Nrc(0x56, "certificateVerificationFailedInvalidScope", "certificate refused: scope", SECURITY, _CERTIFICATE),
    Nrc(0x57, "certificateVerificationFailedInvalidCertificate", "certificate refused: revoked or invalid", SECURITY,
        _CERTIFICATE),
    Nrc(0x58, "ownershipVerificationFailed", "the proof of ownership is wrong", SECURITY),
    Nrc(0x59, "challengeCalculationFailed", "the module could not compute a challenge", SECURITY),
    Nrc(0x5A, "settingAccessRightsFailed", "the rights could not be set", SECURITY),
    Nrc(0x5B, "sessionKeyCreationOrDerivationFailed", "no session key could be made", SECURITY),
    Nrc(0x5C, "configurationDataUsageFailed", "the configuration data could not be used", SECURITY),
    Nrc(0x5D, "deAuthenticationFailed", "the module stays authenticated", SECURITY),
    Nrc(0x70, "uploadDownloadNotAccepted", "the transfer was not accepted", PROGRAMMING,
        "memory not erased, wrong address or size, supply outside its limits"),
    Nrc(0x71, "transferDataSuspended", "the transfer was stopped by a fault", PROGRAMMING,
        "more or fewer bytes than announced, a checksum, or data that do not decompress or decrypt"),
    Nrc(0x72, "generalProgrammingFailure", "erasing or writing memory failed", PROGRAMMING,
        "low supply, worn memory, or a file for other hardware"),
    Nrc(0x73, "wrongBlockSequenceCounter", "the block counter is not the next one", PROGRAMMING,
        "a block was lost or doubled, or the tester started again"),
    Nrc(0x78, "requestCorrectlyReceivedResponsePending", "accepted and still being worked on", WAIT,
        "normal while erasing, writing and checking", is_final=False),
    Nrc(0x7E, "subFunctionNotSupportedInActiveSession", "this sub-function is not available in this session", REQUEST,
        "the session was never opened or has run out"),
    Nrc(0x7F, "serviceNotSupportedInActiveSession", "this service is not available in this session", REQUEST,
        "the session was never opened or has run out"),
    Nrc(0x81, "rpmTooHigh", "engine speed above the limit", CONDITION, "engine must stand still or idle"),
    Nrc(0x82, "rpmTooLow", "engine speed below the limit", CONDITION),
    Nrc(0x83, "engineIsRunning", "the engine must not run", CONDITION, "stop the engine, ignition on"),
    Nrc(0x84, "engineIsNotRunning", "the engine must run", CONDITION),
    Nrc(0x85, "engineRunTimeTooLow", "the engine has not run long enough", CONDITION),
    Nrc(0x86, "temperatureTooHigh", "too hot", CONDITION, "let it cool down"),
    Nrc(0x87, "temperatureTooLow", "too cold", CONDITION, "warm it up"),
    Nrc(0x88, "vehicleSpeedTooHigh", "the vehicle must stand or be slower", CONDITION),
    Nrc(0x89, "vehicleSpeedTooLow", "the vehicle must be faster", CONDITION),
    Nrc(0x8A, "throttlePedalTooHigh", "the pedal is pressed too far", CONDITION),
    Nrc(0x8B, "throttlePedalTooLow", "the pedal is not pressed far enough", CONDITION),
    Nrc(0x8C, "transmissionRangeNotInNeutral", "the transmission must be in neutral", CONDITION),
    Nrc(0x8D, "transmissionRangeNotInGear", "the transmission must be in gear", CONDITION),
    Nrc(0x8F, "brakeSwitchNotClosed", "the brake must be applied", CONDITION),
    Nrc(0x90, "shifterLeverNotInPark", "the selector must be in park", CONDITION),
    Nrc(0x91, "torqueConverterClutchLocked", "the converter clutch is locked", CONDITION),
    Nrc(0x92, "voltageTooHigh", "supply voltage above the limit", VOLTAGE, "support unit set too high or in boost"),
    Nrc(0x93, "voltageTooLow", "supply voltage below the limit", VOLTAGE, "no battery support, or too weak"),
    Nrc(0x94, "resourceTemporarilyNotAvailable", "something needed is not free now (2020 edition)", WAIT,
        "try again later", is_final=False),
)  # fmt: skip

_UNUSED: Final = "no meaning in the standard"
_RESERVED: Final = Nrc(0, "reserved", _UNUSED, OTHER, is_reserved=True)

#: Ranges without single names; the rest of 00-FF is reserved.
_RANGES: Final = (
    (0x00, 0x00, Nrc(0, "positiveResponse", "not a refusal: never on the bus in a negative response", OTHER,
                     is_reserved=True)),
    (0x95, 0xEF, Nrc(0, "reservedForSpecificConditionsNotCorrect", "a condition that the standard has not named",
                     CONDITION, is_reserved=True)),
    (0xF0, 0xFE, Nrc(0, "vehicleManufacturerSpecificConditionsNotCorrect", "a condition that the maker defines",
                     CONDITION, "see the vehicle maker's service information")),
)  # fmt: skip


def _total(known: Iterable[Nrc], ranges: Iterable[tuple[int, int, Nrc]] = ()) -> RangeTable[Nrc]:
    by_code = {nrc.code: nrc for nrc in known}
    for first, last, nrc in ranges:
        by_code = {code: replace(nrc, code=code) for code in range(first, last + 1)} | by_code
    return RangeTable(0xFF, [(c, c, by_code.get(c, replace(_RESERVED, code=c))) for c in range(0x100)])


#: UDS. Total over 00-FF.
NRCS: Final = _total(_KNOWN, _RANGES)


def _as_uds(*codes: int) -> list[Nrc]:
    """Codes that mean the same in every dialect."""
    return [NRCS[code] for code in codes]


_NEVER: Final = _RANGES[0]
_FORMAT: Final = replace(NRCS[0x12], name="subFunctionNotSupported-invalidFormat",
                         meaning="the sub-function does not exist, or the request is badly built")  # fmt: skip
_ORDER: Final = replace(NRCS[0x22], name="conditionsNotCorrectOrRequestSequenceError",
                        meaning="a condition is not met, or this step is not due now",
                        workshop_cause="ignition, running engine, low supply; a step left out or repeated")  # fmt: skip
_MAKER_CODE: Final = Nrc(0, "vehicleManufacturerSpecific", "a reason that the maker defines", OTHER,
                         "see the vehicle maker's service information", is_reserved=True)  # fmt: skip

#: KWP2000 on CAN. Total over 00-FF. 12 and 22 are wider than in UDS, 23 asks to wait for a routine.
KWP_NRCS: Final = _total(
    (
        *_as_uds(0x10, 0x11, 0x21, 0x31, 0x33, 0x35, 0x36, 0x37, 0x78),
        _FORMAT,
        _ORDER,
        Nrc(0x23, "routineNotComplete", "the routine is still running", WAIT,
            "normal while erasing or learning; the tester should ask again", is_final=False),
        Nrc(0x40, "downloadNotAccepted", "the download was not accepted", PROGRAMMING,
            "memory not erased, wrong address or size, supply outside its limits"),
        Nrc(0x41, "improperDownloadType", "the download's format is not known here (M)", PROGRAMMING),
        Nrc(0x42, "canNotDownloadToSpecifiedAddress", "this address cannot be written (M)", PROGRAMMING,
            "a file for other hardware"),
        Nrc(0x43, "canNotDownloadNumberOfBytesRequested", "so many bytes cannot be written (M)", PROGRAMMING,
            "a file for other hardware"),
        Nrc(0x50, "uploadNotAccepted", "the upload was not accepted", PROGRAMMING),
        Nrc(0x51, "improperUploadType", "the upload's format is not known here (M)", PROGRAMMING),
        Nrc(0x52, "canNotUploadFromSpecifiedAddress", "this address cannot be read (M)", PROGRAMMING),
        Nrc(0x53, "canNotUploadNumberOfBytesRequested", "so many bytes cannot be read (M)", PROGRAMMING),
        Nrc(0x71, "transferSuspended", "the transfer was stopped by a fault", PROGRAMMING),
        Nrc(0x72, "transferAborted", "the transfer was given up (M)", PROGRAMMING,
            "low supply, worn memory, or a file for other hardware"),
        Nrc(0x74, "illegalAddressInBlockTransfer", "a block's address is wrong (M)", PROGRAMMING),
        Nrc(0x75, "illegalByteCountInBlockTransfer", "a block's number of bytes is wrong (M)", PROGRAMMING),
        Nrc(0x76, "illegalBlockTransferType", "a block's kind is wrong (M)", PROGRAMMING),
        Nrc(0x77, "blockTransferDataChecksumError", "a block's checksum is wrong (M)", PROGRAMMING,
            "data changed on the way, or a damaged file"),
        Nrc(0x79, "incorrectByteCountDuringBlockTransfer", "more or fewer bytes came than announced (M)", PROGRAMMING),
        Nrc(0x80, "subFunctionNotSupportedInActiveDiagnosticSession", "this is not available in this session", REQUEST,
            "the session was never opened or has run out"),
        Nrc(0x9A, "dataDecompressionFailed", "the data cannot be decompressed", PROGRAMMING,
            "a damaged file, or a file for other hardware"),
        Nrc(0x9B, "dataDecryptionFailed", "the data cannot be decrypted", PROGRAMMING,
            "a damaged file, or a file for other hardware"),
        Nrc(0xA0, "ecuNotResponding", "the gateway got no answer from the module", CONDITION,
            "the module behind the gateway has no supply or is not connected"),
        Nrc(0xA1, "ecuAddressUnknown", "the gateway does not know this module", CONDITION,
            "the module is not in the gateway's list of fitted modules"),
    ),
    (_NEVER, (0x90, 0xFE, _MAKER_CODE)),
)  # fmt: skip

#: GMW3110 1.6. Total over 00-FF. 81, 83, 85 and 89 mean other things than in UDS.
GMW3110_NRCS: Final = _total(
    (
        *_as_uds(0x11, 0x31, 0x35, 0x36, 0x37, 0x78),
        replace(NRCS[0x12], name="subFunctionNotSupportedInvalidFormat", meaning=_FORMAT.meaning),
        _ORDER,
        Nrc(0x81, "schedulerFull", "no more messages can be sent periodically", CONDITION),
        Nrc(0x83, "voltageOutOfRange", "supply voltage outside the limits", VOLTAGE,
            "no battery support, too weak, or set too high"),
        Nrc(0x85, "generalProgrammingFailure", "erasing or writing memory failed", PROGRAMMING,
            "low supply, worn memory, or a file for other hardware"),
        Nrc(0x89, "deviceTypeError", "this is not the device that was meant", CONDITION,
            "a file or a control for other hardware"),
        Nrc(0x99, "readyForDownload-DTCStored", "ready to be programmed, but a fault was stored", PROGRAMMING,
            "read the fault memory before going on"),
        Nrc(0xE3, "deviceControlLimitsExceeded", "a limit of this control is not kept; two more bytes say which",
            CONDITION, "engine, gear, speed or temperature outside what this control allows"),
    ),
    (_NEVER,),
)  # fmt: skip

#: SAE J1979 on CAN. Total over 00-FF. It lists 10, 11, 12, 21, 22 and 78; the module speaks UDS besides, so its
#: other codes are read as such.
OBD_NRCS: Final = _total((_FORMAT, _ORDER), [(code, code, NRCS[code]) for code in NRCS])

#: One table per dialect.
NRC_TABLES: Final[dict[str, RangeTable[Nrc]]] = {
    "uds": NRCS, "kwp2000": KWP_NRCS, "gmw3110": GMW3110_NRCS, "obd": OBD_NRCS,
}  # fmt: skip


def nrcs(dialect: str) -> RangeTable[Nrc]:
    """The codes of a dialect; total over 00-FF.

    Raises:
        ValueError: no such dialect.
    """
    if dialect not in NRC_TABLES:
        raise ValueError(f"no dialect {dialect!r}; there are {', '.join(NRC_TABLES)}")
    return NRC_TABLES[dialect]
