"""Whole-domain walks over the transport's tables."""

from itertools import product

import pytest

from canlog.isotp.pci import (
    FD_SIZES,
    LONGEST_STMIN_NS,
    STMIN_NS,
    ConsecutiveFrame,
    FirstFrame,
    FlowControl,
    Invalid,
    Pci,
    SingleFrame,
    decode_frame,
    is_reserved_stmin,
)
from canlog.isotp.reassembly import Side
from canlog.isotp.steps import HEADLESS_REASONS, REASONS, RULES, STEPS, State

KINDS = (SingleFrame, FirstFrame, ConsecutiveFrame, FlowControl)


def test_every_state_answers_every_frame() -> None:
    assert set(STEPS) == set(product(State, Pci))


def test_every_act_of_the_table_exists() -> None:
    assert all(callable(getattr(Side, step.act)) for step in STEPS.values())


def test_every_broken_rule_has_its_words() -> None:
    named = {step.anomaly for step in STEPS.values() if step.anomaly}
    assert named <= set(RULES) | set(REASONS)
    assert all(rule.text for rule in RULES.values()) and all(REASONS.values())
    assert not set(RULES) & set(REASONS)
    assert set(REASONS) >= HEADLESS_REASONS


def test_only_an_idle_side_has_no_message_to_break() -> None:
    for (state, pci), step in STEPS.items():
        if pci in (Pci.SINGLE, Pci.FIRST):
            assert step.act.startswith("break_then_") == (state is not State.IDLE)


@pytest.mark.parametrize("has_address", [False, True])
@pytest.mark.parametrize("size", range(65))
def test_every_first_two_bytes_of_every_size_decode_to_one_kind(size: int, has_address: bool) -> None:
    head = b"\xf1" if has_address else b""
    for first in range(256):
        for second in (0, 1, 5, 6, 7, 8, 9, 61, 62, 63, 255):
            data = (head + bytes([first, second]) + bytes(64))[:size]
            pdu = decode_frame(data, has_address=has_address)
            nibble = first >> 4
            if isinstance(pdu, Invalid):
                assert pdu.reason and pdu.pci is Pci.INVALID
                continue
            assert type(pdu) is KINDS[nibble], "the high nibble alone names the frame"
            assert size <= 8 or size in FD_SIZES
            if isinstance(pdu, SingleFrame):
                assert 1 <= len(pdu.data) <= size - len(head) - (1 if size <= 8 else 2)
            if isinstance(pdu, FirstFrame):
                assert size >= 8 and pdu.frame_bytes == size and 1 <= len(pdu.data) < pdu.length


@pytest.mark.parametrize("nibble", range(4, 16))
def test_the_reserved_frame_types_are_invalid(nibble: int) -> None:
    for low in range(16):
        assert isinstance(decode_frame(bytes([nibble << 4 | low]) + bytes(7)), Invalid)


def test_every_flow_status_has_its_kind() -> None:
    kinds = [decode_frame(bytes([0x30 | status, 0, 0])).pci for status in range(16)]
    assert kinds == [Pci.CONTINUE, Pci.WAIT, Pci.OVERFLOW] + [Pci.RESERVED_STATUS] * 13


def test_every_separation_time_byte_has_its_gap() -> None:
    # isotp.c of the Linux kernel and can-isotp 2.0.7 (FlowControl): 0-127 ms, 100-900 µs, the rest reserved.
    assert STMIN_NS.shape == (256,)
    for byte in range(256):
        if byte < 0x80:
            assert STMIN_NS[byte] == byte * 1_000_000 and not is_reserved_stmin(byte)
        elif 0xF1 <= byte <= 0xF9:
            assert STMIN_NS[byte] == (byte - 0xF0) * 100_000 and not is_reserved_stmin(byte)
        else:
            assert STMIN_NS[byte] == LONGEST_STMIN_NS == 127_000_000 and is_reserved_stmin(byte)
