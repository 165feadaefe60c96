"""One frame as the kernel of Linux hands it to programs: an id with flags, a length, the bytes.

| offset | field |
|---|---|
| 0 | id and flags, 32 bit, big endian in captures: bit 31 29-bit id, bit 30 remote, bit 29 error |
| 4 | length in bytes |
| 5 | CAN FD flags: 01 BRS, 02 ESI, 04 CAN FD |
| 8 | data; the record may be padded |

Some writers store the id in the byte order of their machine. Then flags stand together that cannot, or an
11-bit id has bits above 11: told from many frames, not from one.

Source: LINKTYPE_CAN_SOCKETCAN, tcpdump.org/linktypes; linux/can.h and linux/can/error.h.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

from canlog.capture.identifiers import CLASSIC_BYTES, FD_SIZES, LARGEST_11_BIT, LARGEST_29_BIT
from canlog.frames import FrameFlag

HEADER_BYTES: Final = 8
NOTE_ORDER: Final = "its ids are stored low byte first, against the form's rule; they were read that way"

_EXTENDED, _REMOTE, _ERROR = 0x80000000, 0x40000000, 0x20000000
_ERROR_CLASSES: Final = 0x3FF
_BRS, _ESI, _FDF = 0x01, 0x02, 0x04
_XL: Final = 0x80  # in place of the length: a CAN XL frame (M)
_FD_RECORD: Final = 72  # bytes of a CAN FD frame as the kernel stores it


class Refused(Exception):  # noqa: N818  (a state of one record, as Damaged is of a line)
    """These bytes are no frame, and why."""


class Content(NamedTuple):
    """A frame without its time and channel."""

    can_id: int
    flags: int
    data: bytes
    length: int


def byte_order(frames: Iterable[bytes]) -> str:
    """``big``, or ``little`` where the frames make sense that way only."""
    big = little = 0
    for frame in frames:
        if len(frame) >= HEADER_BYTES:
            big += _makes_sense(int.from_bytes(frame[:4], "big"), frame[4])
            little += _makes_sense(int.from_bytes(frame[:4], "little"), frame[4])
    return "little" if little > big else "big"


def _makes_sense(word: int, length: int) -> bool:
    can_id = word & LARGEST_29_BIT
    if word & _ERROR:
        return not word & (_EXTENDED | _REMOTE) and can_id <= _ERROR_CLASSES and length == CLASSIC_BYTES
    return bool(word & _EXTENDED) or can_id <= LARGEST_11_BIT


def read_frame(frame: bytes, order: str, *, fd: bool = False) -> Content:
    """The frame in a record; ``fd`` where the record's header says so.

    Raises:
        Refused: too short, or no frame.
    """
    if len(frame) < HEADER_BYTES:
        raise Refused(f"{len(frame)} bytes are too few for a frame")
    length, fd_flags = frame[4], frame[5]
    if length & _XL:
        raise Refused("a CAN XL frame: not read by this version")
    word = int.from_bytes(frame[:4], "little" if order == "little" else "big")
    can_id = word & LARGEST_29_BIT
    if word & _ERROR:
        data = frame[HEADER_BYTES : HEADER_BYTES + min(length, CLASSIC_BYTES)]
        return Content(can_id, FrameFlag.ERROR.value, data, len(data))
    if not word & _EXTENDED and can_id > LARGEST_11_BIT:
        raise Refused("an 11-bit id is at most 7FF")
    fd = fd or bool(fd_flags & _FDF) or length > CLASSIC_BYTES or len(frame) == _FD_RECORD
    if length not in FD_SIZES:
        raise Refused(f"{length} bytes is no size of a CAN frame")
    flags = FrameFlag.EXTENDED if word & _EXTENDED else FrameFlag(0)
    if word & _REMOTE and not fd:
        return Content(can_id, int(flags | FrameFlag.REMOTE), b"", length)
    data = frame[HEADER_BYTES : HEADER_BYTES + length]
    if len(data) < length:
        raise Refused(f"{length} bytes announced, {len(data)} there")
    if fd:
        flags |= FrameFlag.FD
        flags |= (FrameFlag.BRS if fd_flags & _BRS else 0) | (FrameFlag.ESI if fd_flags & _ESI else 0)
    return Content(can_id, int(flags), data, length)
