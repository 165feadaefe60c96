"""What every frame of a table would be, by columns: the control byte and the size decide nearly everything.

One table, asked once a frame, answers "size, control byte" with the type of frame. It is filled by
:func:`canlog.isotp.pci.decode_frame`, so that the two cannot part; only first frames and the long single
frames of CAN FD need a look at the bytes behind.
"""

from __future__ import annotations

from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt

from canlog.frames import FrameFlag, FrameTable, Ints
from canlog.isotp.pci import FD_SIZES, Pci, decode_frame

Bytes = npt.NDArray[np.uint8]
Shapes = npt.NDArray[np.uint8]

NOTHING, SINGLE, FIRST, CONSECUTIVE, FLOW = range(5)

#: Sizes above this are one size: no frame of CAN has them.
_TOO_LONG: Final = 65

_SHAPE: Final = {
    Pci.SINGLE: SINGLE, Pci.FIRST: FIRST, Pci.CONSECUTIVE: CONSECUTIVE,
    Pci.CONTINUE: FLOW, Pci.WAIT: FLOW, Pci.OVERFLOW: FLOW,
}  # fmt: skip


@cache
def _shape_table() -> Shapes:
    """shape (2 * 66 * 256,): by address bytes, size, control byte, if the bytes behind allow it."""
    table = np.full((2, _TOO_LONG + 1, 256), NOTHING, dtype=np.uint8)
    for address_bytes in (0, 1):
        for size in (*range(address_bytes + 1, 9), *FD_SIZES):
            for control in range(0x40):  # above it there are no frames of ISO 15765-2
                # Behind it, what makes a long single frame (length 1) and a first frame (a great length) valid.
                behind = b"\xff" if control >> 4 else b"\x01"
                frame = bytes(address_bytes) + bytes([control]) + behind * (size - address_bytes - 1)
                pci = decode_frame(frame, has_address=bool(address_bytes)).pci
                table[address_bytes, size, control] = _SHAPE.get(pci, NOTHING)
    return table.ravel()


def byte_at(payload: Bytes, offset: Ints, at: int | Ints) -> Ints:
    """shape (n,), int64: one byte of every frame; anything where the frame is shorter."""
    if not len(payload):
        return np.zeros(len(offset), dtype=np.int64)
    return payload.take(offset + at, mode="clip").astype(np.int64)


def announced_length(payload: Bytes, offset: Ints, address_bytes: int | Ints) -> tuple[Ints, npt.NDArray[np.bool_]]:
    """The length that first frames announce, and whether it stands in the 32-bit form."""
    short = byte_at(payload, offset, address_bytes) % 16 * 256 + byte_at(payload, offset, address_bytes + 1)
    long = np.zeros(len(offset), dtype=np.int64)
    is_escape = short == 0
    if is_escape.any():
        for n in range(2, 6):
            long = long << 8 | byte_at(payload, offset, address_bytes + n)
    return np.where(is_escape, long, short), is_escape


def shapes_of(payload: Bytes, offset: Ints, length: npt.NDArray[np.uint16], address_bytes: int | Ints) -> Shapes:
    """What data frames are if their control byte stands behind ``address_bytes`` bytes.

    Args:
        payload: shape (m,), the bytes of all frames.
        offset: shape (n,), where each frame begins in it.
        length: shape (n,), data bytes of each frame.
        address_bytes: 0 or 1, for all frames or for each.

    Returns:
        shape (n,), uint8: SINGLE, FIRST, CONSECUTIVE, FLOW, or NOTHING for what is no valid frame (flow
        control with a reserved status included: no sender means it). Equal to
        :func:`canlog.isotp.pci.decode_frame` on every frame.
    """
    size = np.minimum(length, _TOO_LONG).astype(np.int64)
    control = byte_at(payload, offset, address_bytes)
    shapes: Shapes = _shape_table().take((size + address_bytes * (_TOO_LONG + 1)) * 256 + control)
    for rows, is_good in (
        (np.flatnonzero(shapes == FIRST), _is_long_enough),
        (np.flatnonzero((shapes == SINGLE) & (size > 8)), _fits_its_frame),
    ):
        if len(rows):
            at = address_bytes if isinstance(address_bytes, int) else address_bytes[rows]
            shapes[rows[~is_good(payload, offset[rows], size[rows], at)]] = NOTHING
    return shapes


def _is_long_enough(payload: Bytes, offset: Ints, size: Ints, at: int | Ints) -> npt.NDArray[np.bool_]:
    """First frames announce more than one frame holds."""
    smallest = np.where(size > 8, size - 1, 8) - at
    enough: npt.NDArray[np.bool_] = announced_length(payload, offset, at)[0] >= smallest
    return enough


def _fits_its_frame(payload: Bytes, offset: Ints, size: Ints, at: int | Ints) -> npt.NDArray[np.bool_]:
    """Long single frames have their length in the next byte."""
    length = byte_at(payload, offset, at + 1)
    return (length >= 1) & (length <= size - at - 2)


def frame_shapes(table: FrameTable, address_bytes: int) -> Shapes:
    """:func:`shapes_of` a table's frames; remote and error frames are NOTHING."""
    shapes = shapes_of(table.payload, table.offset, table.length, address_bytes)
    shapes[table.flags & int(FrameFlag.REMOTE | FrameFlag.ERROR) != 0] = NOTHING
    return shapes
