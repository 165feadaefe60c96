"""Which response belongs to which request, and what silence means.

Source of the rules: ISO 14229-1:2020, clause 8 (M), as the documentation of the package "uds" (ed5bfcc) and two
public articles on clause 7.5 repeat it.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canlog.services.matching import (
    Answer,
    Silence,
    answers,
    expects_answer,
    is_pending,
    is_suppressed,
    silence_means,
)


@pytest.mark.parametrize(
    ("request_hex", "response_hex", "why"),
    [
        ("22 F1 90", "62 F1 91 41", "data_identifier: F190 VIN asked, F191"),
        ("2E F1 90 41", "6E F1 91", "data_identifier"),
        ("31 01 FF 00", "71 01 FF 01 00", "routine_identifier: FF00 eraseMemory asked, FF01"),
        ("31 03 02 03", "71 01 02 03 00", "sub_function"),
        ("36 05 AA", "76 04", "block_sequence_counter: 05 asked, 04 answered"),
        ("27 11", "67 12", "sub_function"),
        ("10 03", "50 02 00 32 01 F4", "sub_function"),
        ("10 85", "50 85", "sub_function"),
        ("19 04 01 43 00 FF", "59 04 01 44 00 2F", "dtc: P0143-00 asked, P0144-00 answered"),
        ("2F 4A 10 03 01", "6F 4A 10 00", "input_output_control_parameter"),
        ("3D 11 20 01 55", "7D 11 21 01", "memory_address"),
        ("38 04 00 01 41 00", "78 01 01 FF 00", "mode_of_operation"),
        ("01 0C", "41 0D 1E", "parameter_identifier"),
        ("09 02", "49 04 01", "infotype"),
        ("2C 01 F3 00 4A 10 01 01", "6C 01 F3 01", "dynamically_defined_data_identifier"),
        ("22 F1 90", "62", "data_identifier: F190 VIN asked, nothing answered"),
        ("22", "62 F1 90 41", "data_identifier: nothing asked"),
        ("22 F1 90", "6E F1 90", "service: 22 asked, 6E answered"),
        ("22 F1 90", "7F 2E 31", "service: 22 asked, refusal of 2E"),
        ("22 F1 90", "7F 22", "a negative response of 2 bytes"),
        ("22 F1 90", "7F 62 31", "service"),
        ("22 F1 90", "", "an empty message"),
    ],
)
def test_a_response_to_another_request_is_refused_with_the_reason(
    request_hex: str, response_hex: str, why: str
) -> None:
    match = answers(bytes.fromhex(request_hex), bytes.fromhex(response_hex))
    assert not match
    assert match.answer is Answer.NONE
    assert not match.is_final
    assert match.why.startswith(why)


@pytest.mark.parametrize(
    ("request_hex", "response_hex"),
    [
        ("22 F1 90", "62 F1 90 41"),
        ("22 4A 10 4A 11", "62 4A 11 01"),  # a server may leave out what it does not have
        ("10 83", "50 03 00 32 01 F4"),
        ("31 01 FF 00 02", "71 01 FF 00 00"),
        ("36 00 AA", "76 00"),
        ("37", "77 12 34"),
        ("34 00 11 10 01", "74 10 82"),
        ("38 01 00 01 41 00 01 05 05", "78 01 01 FF 00"),
        ("3D 11 20 01 55", "7D 11 20 01"),
        ("14 FF FF FF", "54"),
        ("2C 03", "6C 03"),
        ("01 0C 0D", "41 0D 1E 0C 1A F8"),
        ("86 43 02 4A 10 22 4A 10", "C6 43 00 02 4A 10 22 4A 10"),
    ],
)
def test_a_response_that_repeats_its_request_is_taken(request_hex: str, response_hex: str) -> None:
    match = answers(bytes.fromhex(request_hex), bytes.fromhex(response_hex))
    assert match.answer is Answer.POSITIVE
    assert match.is_final


def test_pending_busy_and_refused_are_three_things() -> None:
    erase = bytes.fromhex("31 01 FF 00")
    pending, busy, refused = (answers(erase, bytes([0x7F, 0x31, code])) for code in (0x78, 0x21, 0x72))
    assert (pending.answer, pending.is_final) == (Answer.PENDING, False)
    assert (busy.answer, busy.is_final, busy.nrc) == (Answer.NEGATIVE, False, 0x21)
    assert (refused.answer, refused.is_final, refused.nrc) == (Answer.NEGATIVE, True, 0x72)


@given(request=st.binary(max_size=20), response=st.binary(max_size=20))
def test_any_two_messages_can_be_compared(request: bytes, response: bytes) -> None:
    match = answers(request, response)
    assert match.why
    if match and match.answer is Answer.POSITIVE:
        assert response[0] == request[0] + 0x40
    elif match:
        assert response[:2] == bytes([0x7F, request[0]])
    assert not match.is_final or match
    assert silence_means(request, functional=False) in Silence


def test_only_services_with_a_sub_function_know_the_suppress_bit() -> None:
    assert is_suppressed(b"\x3e\x80")
    assert is_suppressed(b"\x31\x81\x02\x03")
    assert not is_suppressed(b"\x3e\x00")
    assert not is_suppressed(b"\x22\xf1\x90")
    assert not is_suppressed(b"\x2f\x80\x00\x00")
    assert not is_suppressed(b"\x36\x85\x00")
    assert not is_suppressed(b"\x85")
    assert not is_suppressed(b"")


@pytest.mark.parametrize(
    ("request_hex", "functional", "pending", "meaning", "due"),
    [
        ("22 F1 90", False, False, Silence.LOST, True),
        ("22 F1 90", True, False, Silence.NOT_HERE_OR_ABSENT, False),
        ("10 82", False, False, Silence.MAY_BE_SUCCESS, False),
        ("10 83", True, False, Silence.MAY_BE_SUCCESS, False),
        ("10 82", False, True, Silence.INTERRUPTED, False),
        ("31 01 FF 00", False, True, Silence.INTERRUPTED, True),
        ("87 83", False, False, Silence.MAY_BE_SUCCESS, False),
    ],
)
def test_what_silence_means(request_hex: str, functional: bool, pending: bool, meaning: Silence, due: bool) -> None:
    request = bytes.fromhex(request_hex)
    assert silence_means(request, functional, pending) is meaning
    assert expects_answer(request, functional) is due


def test_only_7f_makes_a_78_pending() -> None:
    assert is_pending(bytes.fromhex("7F 31 78"))
    assert is_pending(bytes.fromhex("7F 78 78"))
    assert not is_pending(bytes.fromhex("78 01 01 FF 00"))
    assert not is_pending(bytes.fromhex("71 78 00 00"))
    assert not is_pending(bytes.fromhex("7F 78"))
