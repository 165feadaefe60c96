"""How many bits a classic data frame takes on the wire, stuff bits counted one by one.

Stuffed from start of frame to the end of the CRC; then 13 bits more (delimiters, acknowledge, end of frame,
interframe space). After five equal bits a sixth, opposite one is inserted and begins the next run. Source:
ISO 11898-1, data frame format and bit stuffing (M); polynomial 4599 hex is that of CAN 2.0, part A (M).
"""

from __future__ import annotations

from functools import cache

UNSTUFFED_BITS = 13
_POLYNOMIAL = 0x4599

#: Running state: CRC-15 register, last bit, length of its run, bits sent so far.
State = tuple[int, int, int, int]
_START: State = (0, 1, 0, 0)


def _step(state: State, bit: int) -> State:
    crc, last, run, sent = state
    crc = ((crc << 1) ^ (_POLYNOMIAL if (crc >> 14 & 1) ^ bit else 0)) & 0x7FFF
    run = run + 1 if bit == last else 1
    if run == 5:
        return crc, 1 - bit, 1, sent + 2
    return crc, bit, run, sent + 1


def _feed(state: State, value: int, width: int) -> State:
    for place in range(width - 1, -1, -1):
        state = _step(state, value >> place & 1)
    return state


@cache
def _header(can_id: int, extended: bool, length: int) -> State:
    state = _feed(_START, 0, 1)
    if extended:
        state = _feed(state, can_id >> 18, 11)
        state = _feed(state, 0b11, 2)
        state = _feed(state, can_id & 0x3FFFF, 18)
    else:
        state = _feed(state, can_id, 11)
    return _feed(_feed(state, 0, 3), length, 4)


@cache
def _crc_of_byte(top: int) -> int:
    crc = top << 7
    for _ in range(8):
        crc = (crc << 1 ^ (_POLYNOMIAL if crc >> 14 & 1 else 0)) & 0x7FFF
    return crc


@cache
def _runs_of_byte(last: int, run: int, byte: int) -> tuple[int, int, int]:
    _, last, run, sent = _feed((0, last, run, 0), byte, 8)
    return last, run, sent


def frame_bits(can_id: int, extended: bool, data: bytes) -> int:
    """Bits of one classic data frame with its stuff bits and the interframe space."""
    crc, last, run, sent = _header(can_id, extended, len(data))
    for byte in data:
        crc = (crc << 8 & 0x7FFF) ^ _crc_of_byte(crc >> 7 ^ byte)
        last, run, more = _runs_of_byte(last, run, byte)
        sent += more
    return _feed((0, last, run, sent), crc, 15)[3] + UNSTUFFED_BITS
