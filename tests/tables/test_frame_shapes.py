"""The column prefilter of link discovery says of every frame what the readable decoder says."""

from __future__ import annotations

import random

import pytest

from canlog.frames import Frame, FrameFlag, table_of
from canlog.isotp.pci import Pci, decode_frame
from canlog.isotp.shapes import CONSECUTIVE, FIRST, FLOW, NOTHING, SINGLE, frame_shapes

SHAPE = {
    Pci.SINGLE: SINGLE, Pci.FIRST: FIRST, Pci.CONSECUTIVE: CONSECUTIVE, Pci.CONTINUE: FLOW, Pci.WAIT: FLOW,
    Pci.OVERFLOW: FLOW, Pci.RESERVED_STATUS: NOTHING, Pci.INVALID: NOTHING,
}  # fmt: skip


@pytest.mark.parametrize("address_bytes", [0, 1])
def test_every_control_byte_at_every_size_has_the_same_shape_in_both(address_bytes: int) -> None:
    rnd = random.Random(15765)
    frames = []
    for control in range(256):
        for size in range(65):
            for second in {0, 1, 7, 8, 61, 62, 63, rnd.randrange(256)}:
                tail = rnd.choice([bytes(64), rnd.randbytes(64)])
                data = (b"\xf1" * address_bytes + bytes([control, second]) + tail)[:size]
                frames.append(Frame(0, "can0", 0x700, FrameFlag(0), size, data, 1, 0))
    shapes = frame_shapes(table_of(frames), address_bytes).tolist()
    for frame, shape in zip(frames, shapes, strict=True):
        assert shape == SHAPE[decode_frame(frame.data, has_address=bool(address_bytes)).pci], frame


def test_remote_and_error_frames_have_no_shape() -> None:
    frames = [
        Frame(0, "can0", 0x700, flag, 8, b"" if flag is FrameFlag.REMOTE else bytes.fromhex("023E000000000000"), 1, 0)
        for flag in (FrameFlag.REMOTE, FrameFlag.ERROR, FrameFlag(0))
    ]
    assert frame_shapes(table_of(frames), 0).tolist() == [NOTHING, NOTHING, SINGLE]
