"""Length of a frame on the wire against a second, plain way of counting."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from simulator.framebits import frame_bits


def _plainly(can_id: int, extended: bool, data: bytes) -> int:
    if extended:
        bits = f"0{can_id >> 18:011b}11{can_id & 0x3FFFF:018b}000{len(data):04b}"
    else:
        bits = f"0{can_id:011b}000{len(data):04b}"
    bits += "".join(f"{byte:08b}" for byte in data)
    crc = 0
    for bit in bits:
        crc = (crc << 1) ^ (0x4599 if (crc >> 14 & 1) != int(bit) else 0)
        crc &= 0x7FFF
    sent = ""
    for bit in bits + f"{crc:015b}":
        sent += bit
        if sent[-5:] in ("00000", "11111"):
            sent += "1" if bit == "0" else "0"
    return len(sent) + 13


@given(st.integers(0, 0x7FF), st.binary(max_size=8))
def test_standard_frames_are_counted_bit_by_bit(can_id: int, data: bytes) -> None:
    assert frame_bits(can_id, False, data) == _plainly(can_id, False, data)


@given(st.integers(0, 0x1FFFFFFF), st.binary(max_size=8))
def test_extended_frames_are_counted_bit_by_bit(can_id: int, data: bytes) -> None:
    assert frame_bits(can_id, True, data) == _plainly(can_id, True, data)


@given(st.booleans(), st.binary(min_size=8, max_size=8))
def test_no_frame_is_outside_the_published_bounds(extended: bool, data: bytes) -> None:
    # Davis, Burns, Bril, Lukkien, Real-Time Systems 35 (2007) 239-272: at most one stuff bit per four bits (M)
    least, most = (131, 160) if extended else (111, 135)
    assert least <= frame_bits(0x7E0, extended, data) <= most
