"""What one frame says: the protocol control information of ISO 15765-2.

The high nibble of the first byte (behind the address byte, where the addressing has one) names the
frame; the rest depends on it and on ``CAN_DL``, the number of data bytes of the frame. Every frame
decodes to something: what breaks a rule is :class:`Invalid` with its reason, what bends one without
losing its meaning carries a ``deviation``.

Source: ISO 15765-2:2016, 9.6 (M); layouts confirmed in can-isotp 2.0.7 and the Linux kernel's isotp.c.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt


class Pci(IntEnum):
    """What a frame is to the state machine; flow control by what it asks."""

    SINGLE = 0
    FIRST = 1
    CONSECUTIVE = 2
    CONTINUE = 3  # flow control, status 0 "continue to send"
    WAIT = 4  # flow control, status 1
    OVERFLOW = 5  # flow control, status 2
    RESERVED_STATUS = 6  # flow control, status 3-F: the sender must abort
    INVALID = 7


#: What a reserved separation time means: the longest one. ISO 15765-2:2016, 9.6.5.5 (M).
LONGEST_STMIN_NS: Final = 127_000_000

#: shape (256,), int64 ns: the gap each STmin byte asks for. Reserved bytes (80-F0, FA-FF) mean the
#: longest, which the sender must then keep. ISO 15765-2:2016, 9.6.5.4-5 (M); so does the kernel's isotp.c.
STMIN_NS: Final[npt.NDArray[np.int64]] = np.array(
    [
        byte * 1_000_000 if byte <= 0x7F else (byte - 0xF0) * 100_000 if 0xF1 <= byte <= 0xF9 else LONGEST_STMIN_NS
        for byte in range(256)
    ],
    dtype=np.int64,
)


def is_reserved_stmin(byte: int) -> bool:
    """True for the STmin bytes that have no meaning of their own (80-F0, FA-FF)."""
    return 0x80 <= byte <= 0xF0 or byte >= 0xFA


#: The numbers of data bytes a CAN frame can have above 8. ISO 11898-1.
FD_SIZES: Final = frozenset({12, 16, 20, 24, 32, 48, 64})

#: The largest length that fits 12 bits; above it a first frame must use the 32-bit form.
LARGEST_SHORT_LENGTH: Final = 4095

#: A frame's own rule break that does not hide what it means.
ESCAPE_NOT_NEEDED: Final = "escape-not-needed"

_MEANING: Final = (Pci.CONTINUE, Pci.WAIT, Pci.OVERFLOW)


class SingleFrame(NamedTuple):
    """A whole message in one frame; ``data`` without padding."""

    data: bytes
    deviation: str = ""

    @property
    def pci(self) -> Pci:
        """Always SINGLE."""
        return Pci.SINGLE


class FirstFrame(NamedTuple):
    """The begin of a longer message: ``length`` bytes in all, the first of them in ``data``."""

    length: int
    data: bytes
    frame_bytes: int  # CAN_DL of this frame: RX_DL, the size of all but the last frame of the message
    deviation: str = ""

    @property
    def pci(self) -> Pci:
        """Always FIRST."""
        return Pci.FIRST


class ConsecutiveFrame(NamedTuple):
    """The next piece; ``data`` with its padding, only the receiver knows where the message ends."""

    sequence_number: int  # 0-15
    data: bytes

    @property
    def pci(self) -> Pci:
        """Always CONSECUTIVE."""
        return Pci.CONSECUTIVE


class FlowControl(NamedTuple):
    """What the receiver of a long message asks of its sender."""

    status: int  # 0 continue, 1 wait, 2 overflow, 3-15 reserved
    block_size: int  # consecutive frames until the next flow control; 0: all. Only with "continue"
    separation_time: int  # the byte as sent; see STMIN_NS. Only with "continue"

    @property
    def pci(self) -> Pci:
        """By status."""
        return _MEANING[self.status] if self.status < len(_MEANING) else Pci.RESERVED_STATUS

    @property
    def separation_ns(self) -> int:
        """The gap asked for, in nanoseconds."""
        return int(STMIN_NS[self.separation_time])


class Invalid(NamedTuple):
    """A frame that a receiver ignores, and why."""

    reason: str

    @property
    def pci(self) -> Pci:
        """Always INVALID."""
        return Pci.INVALID


Pdu = SingleFrame | FirstFrame | ConsecutiveFrame | FlowControl | Invalid


def decode_frame(data: bytes, *, has_address: bool = False) -> Pdu:
    """The meaning of one frame's data bytes; never raises.

    Args:
        data: all data bytes of the frame, 0 to 64.
        has_address: the first byte is an address (extended and mixed addressing), not control information.
    """
    at = 1 if has_address else 0
    size = len(data)
    if size <= at:
        return Invalid("no control information")
    nibble = data[at] >> 4
    if size > 8 and size not in FD_SIZES:
        return Invalid(f"{size} data bytes are no frame size of CAN")
    if nibble == 2:
        return _consecutive(data, at)
    if nibble == 0:
        return _single(data, at)
    if nibble == 1:
        return _first(data, at)
    if nibble == 3:
        return _flow_control(data, at)
    return Invalid(f"frame type {nibble:X} is reserved")


def _consecutive(data: bytes, at: int) -> ConsecutiveFrame | Invalid:
    if len(data) == at + 1:
        return Invalid("consecutive frame without data")
    return ConsecutiveFrame(data[at] & 0x0F, data[at + 1 :])


def _single(data: bytes, at: int) -> SingleFrame | Invalid:
    size = len(data)
    length = data[at] & 0x0F
    if size <= 8:
        if length == 0:
            return Invalid("single frame of length 0")
        if length > size - at - 1:
            return Invalid(f"single frame of length {length} in {size} bytes")
        return SingleFrame(data[at + 1 : at + 1 + length])
    # Above 8 bytes the length stands in the next byte, and it must be one that needs the larger frame.
    if length:
        return Invalid(f"single frame of {size} bytes without the escape")
    length = data[at + 1]
    if length == 0:
        return Invalid("single frame of length 0")
    if length > size - at - 2:
        return Invalid(f"single frame of length {length} in {size} bytes")
    needless = length < 8 - at
    return SingleFrame(data[at + 2 : at + 2 + length], ESCAPE_NOT_NEEDED if needless else "")


def _first(data: bytes, at: int) -> FirstFrame | Invalid:
    size = len(data)
    if size < 8:
        return Invalid(f"first frame of {size} bytes, 8 needed")
    length = (data[at] & 0x0F) << 8 | data[at + 1]
    head, deviation = at + 2, ""
    if length == 0:
        length = int.from_bytes(data[at + 2 : at + 6])
        head = at + 6
        if length <= LARGEST_SHORT_LENGTH:
            # The standard's receiver ignores it, the libraries' receivers take it: kept, and said.
            deviation = ESCAPE_NOT_NEEDED
    smallest = smallest_first_length(size, has_address=bool(at))
    if length < smallest:
        return Invalid(f"first frame of length {length}, at least {smallest} needed")
    return FirstFrame(length, data[head : head + length], size, deviation)


def smallest_first_length(frame_bytes: int, *, has_address: bool) -> int:
    """The least length that does not fit one frame of this size. ISO 15765-2:2016, 9.6.3.1 (M)."""
    at = 1 if has_address else 0
    return 8 - at if frame_bytes <= 8 else frame_bytes - 1 - at


def _flow_control(data: bytes, at: int) -> FlowControl | Invalid:
    if len(data) < at + 3:
        return Invalid(f"flow control of {len(data)} bytes, {at + 3} needed")
    return FlowControl(data[at] & 0x0F, data[at + 1], data[at + 2])
