"""A CAN id as text: how many digits it has says what it is.

candump writes exactly 3 digits for an 11-bit id and 8 for a 29-bit id or, with bit 29 set, an error
frame. Other writers leave zeros out; then only the value can tell.
Source: can-utils, lib.h (form of the log) and linux/can.h (flag bits).
"""

from __future__ import annotations

from typing import Final

from canlog.capture.lines import Damaged
from canlog.frames import FrameFlag

ERROR_BIT: Final = 0x20000000
LARGEST_11_BIT: Final = 0x7FF
LARGEST_29_BIT: Final = 0x1FFFFFFF
CLASSIC_BYTES: Final = 8
#: Payload sizes a CAN FD frame can have. ISO 11898-1:2015, DLC table (M).
FD_SIZES: Final = frozenset((*range(9), 12, 16, 20, 24, 32, 48, 64))

NOTE_UNPADDED: Final = "ids are written without leading zeros: those up to 7FF are taken as 11 bit"


class Identifiers(dict[bytes, tuple[int, int]]):
    """Id and flags of an id's hex text, each text read once. Notes what had to be assumed."""

    def __init__(self) -> None:
        super().__init__()
        self.unpadded = False  # some text had neither 3 nor 8 digits and did not say what it is

    def __missing__(self, text: bytes) -> tuple[int, int]:
        if len(self) > 100_000:  # random bytes, not a bus
            self.clear()
        answer = self[text] = self._read(text)
        return answer

    def _read(self, text: bytes) -> tuple[int, int]:
        value = int(text, 16)
        if len(text) == 8:
            if value <= LARGEST_29_BIT:
                return value, FrameFlag.EXTENDED.value
            if value < 2 * ERROR_BIT:
                return value - ERROR_BIT, FrameFlag.ERROR.value
            raise Damaged("the id has bits above 29")
        if value > LARGEST_11_BIT:
            if len(text) == 3:
                raise Damaged("an 11-bit id is at most 7FF")
            return value, FrameFlag.EXTENDED.value
        self.unpadded |= len(text) != 3
        return value, 0


def check_size(n_bytes: int, fd: bool) -> None:
    """Refuse a size no frame can have: a cut or spliced line.

    Raises:
        Damaged: more than 8 bytes, or no size of a CAN FD frame.
    """
    if not fd and n_bytes > CLASSIC_BYTES:
        raise Damaged(f"{n_bytes} bytes; a classic frame has at most 8")
    if fd and n_bytes not in FD_SIZES:
        raise Damaged(f"{n_bytes} bytes is no size of a CAN FD frame")
