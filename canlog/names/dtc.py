"""Fault codes: ``P0143-00`` from three bytes, the status byte, failure types.

The third byte of a UDS code is the failure type, no status; the status is a byte of its own.

Source: SAE J2012-DA and ISO 15031-6 (M); text form agrees with udsoncan 1.26.1; two-byte form with scapy
2.8.0. Status bits ISO 14229-1:2020, annex D.2 (M), udsoncan, scapy. Failure types from memory.
"""

from __future__ import annotations

from typing import Final

#: Bit 0 first. ISO 14229-1:2020, annex D.2 (M).
STATUS_BITS: Final = (
    "testFailed",
    "testFailedThisOperationCycle",
    "pendingDTC",
    "confirmedDTC",
    "testNotCompletedSinceLastClear",
    "testFailedSinceLastClear",
    "testNotCompletedThisOperationCycle",
    "warningIndicatorRequested",
)
TEST_FAILED: Final = 0x01
CONFIRMED: Final = 0x08

#: A few of the failure types of SAE J2012-DA (M).
FAILURE_TYPES: Final = {
    0x00: "no further information", 0x01: "general electrical failure", 0x02: "general signal failure",
    0x04: "system internal failure", 0x08: "bus signal or message failure", 0x09: "component failure",
    0x11: "circuit short to ground", 0x12: "circuit short to battery", 0x13: "circuit open",
    0x14: "circuit short to ground or open", 0x15: "circuit short to battery or open",
    0x16: "circuit voltage below threshold", 0x17: "circuit voltage above threshold",
    0x1A: "circuit resistance below threshold", 0x1B: "circuit resistance above threshold",
    0x29: "signal invalid", 0x31: "no signal", 0x41: "general checksum failure", 0x42: "general memory failure",
    0x43: "special memory failure", 0x44: "data memory failure", 0x45: "program memory failure",
    0x46: "calibration memory failure", 0x47: "watchdog failure", 0x49: "internal electronic failure",
    0x4A: "incorrect component installed", 0x51: "not programmed", 0x52: "not activated",
    0x54: "missing calibration", 0x55: "not configured", 0x56: "invalid or incompatible configuration",
    0x57: "invalid or incompatible software component", 0x61: "signal calculation failure",
    0x62: "signal compare failure", 0x63: "protection timeout", 0x64: "signal plausibility failure",
    0x81: "invalid serial data received", 0x82: "alive counter incorrect", 0x83: "signal protection incorrect",
    0x86: "signal invalid", 0x87: "missing message", 0x88: "bus off",
    0x92: "performance or incorrect operation", 0x96: "component internal failure",
}  # fmt: skip

#: Failure types that say after a programming that it is not finished (M).
PROGRAMMING_FAILURE_TYPES: Final = frozenset({0x4A, 0x51, 0x54, 0x55, 0x56, 0x57})


def dtc_text(code: int) -> str:
    """``P0143-00`` of the three bytes of a UDS code (24 bit)."""
    return f"{two_byte_dtc_text(code >> 8)}-{code & 0xFF:02X}"


def two_byte_dtc_text(code: int) -> str:
    """``P0143`` of the two bytes of an OBD or KWP2000 code: bits 15-14 letter, 13-12 first digit."""
    return f"{'PCBU'[code >> 14 & 3]}{code >> 12 & 3}{code & 0xFFF:03X}"


def parse_dtc(text: str) -> int:
    """The 24-bit code of ``P0143-00`` (or of ``P0143``, failure type 00).

    Raises:
        ValueError: not a fault code.
    """
    letter, digits, failure = text[:1].upper(), text[1:5], text[6:] or "00"
    well_formed = len(digits) == 4 and digits[0] in "0123" and text[5:6] in ("", "-") and len(failure) == 2
    if letter not in ("P", "C", "B", "U") or not well_formed:
        raise ValueError(f"{text!r} is not a fault code like P0143-00")
    return "PCBU".index(letter) << 22 | int(digits, 16) << 8 | int(failure, 16)


def failure_type(code: int) -> str:
    """The failure type of a three-byte code in words, where known."""
    return FAILURE_TYPES.get(code & 0xFF, "failure type not in our table")


def status_bits(status: int) -> tuple[str, ...]:
    """The names of the bits set, bit 0 first. Mask with the availability byte before you count them."""
    return tuple(name for bit, name in enumerate(STATUS_BITS) if status >> bit & 1)


def status_text(status: int) -> str:
    """``2F testFailed, …``."""
    return f"{status:02X} {', '.join(status_bits(status)) or 'no bit set'}"


def mask_text(mask: int) -> str:
    """As :func:`status_text`, for a mask: ``FF every bit``."""
    return "FF every bit" if mask == 0xFF else status_text(mask)


def is_stored(status: int, availability: int = 0xFF) -> bool:
    """True where the code is confirmed (what a workshop calls stored), as far as the module supports the bit."""
    return bool(status & availability & CONFIRMED)


def is_failing_now(status: int, availability: int = 0xFF) -> bool:
    """True where the last test that ran failed, as far as the module supports the bit."""
    return bool(status & availability & TEST_FAILED)
