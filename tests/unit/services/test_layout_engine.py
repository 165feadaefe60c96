"""The layout language by itself, and on any bytes."""

import pickle
import subprocess
import sys

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from canlog.services.decode import decode_request, decode_response, layouts
from canlog.services.layout import (
    Decoded,
    Kind,
    Layout,
    ascii_text,
    bits,
    choose,
    flag,
    many,
    octets,
    optional,
    rest,
    u8,
    u16,
    uint,
    with_length,
)


def accounted(decoded: Decoded) -> bool:
    """The fields, in order and without gap, and the rest make up the message."""
    at = 0
    for field in decoded.fields:
        if field.size:
            if field.offset != at:
                return False
            at += field.size
        elif field.value != b"" and field.value != "" and field.offset >= at:  # a second reading of bytes before
            return False
    return at + len(decoded.rest) == len(decoded.data) and decoded.data[at:] == decoded.rest


@given(data=st.binary(max_size=80), asked=st.binary(max_size=12))
@example(data=b"", asked=b"")
@example(data=b"\x7f", asked=b"\x22")
def test_any_bytes_decode_and_every_byte_is_accounted_for(data: bytes, asked: bytes) -> None:
    for decoded in (decode_request(data), decode_response(data), decode_response(data, request=asked)):
        assert decoded.data == data
        assert accounted(decoded)
        assert decoded.text()
        assert data.hex(" ").upper() in repr(decoded)


@given(sid=st.sampled_from(sorted(sid for _, sid in layouts("uds"))), tail=st.binary(max_size=40))
def test_any_tail_of_a_known_service_decodes(sid: int, tail: bytes) -> None:
    assert accounted(decode_request(bytes([sid]) + tail))
    assert accounted(decode_response(bytes([sid + 0x40]) + tail))
    assert accounted(decode_response(bytes([0x7F, sid]) + tail))


@given(sid=st.sampled_from(sorted(sid for _, sid in layouts("uds"))), tail=st.binary(max_size=40))
def test_the_start_of_a_message_never_reads_differently(sid: int, tail: bytes) -> None:
    """What is read before a problem stays the same when the message is cut: no field guesses from the end."""
    whole = decode_request(bytes([sid]) + tail)
    cut = decode_request((bytes([sid]) + tail)[:-1])
    fixed = [one for one in whole.fields if isinstance(one.value, int) and one.offset + max(one.size, 1) <= len(tail)]
    assert fixed == [one for one in cut.fields if isinstance(one.value, int)]


def test_a_missing_field_is_named_with_its_place() -> None:
    decoded = decode_request(bytes.fromhex("34004400080000 01"))
    assert decoded.problems == ("memory_size: needs 4 bytes at 7, has 1",)
    assert decoded["memory_address"] == 0x00080000
    assert decoded.rest == b"\x01"
    assert "memory_size" not in decoded


def test_bytes_too_many_are_the_rest() -> None:
    decoded = decode_response(b"\x54\x00\x00")
    assert decoded.rest == b"\x00\x00"
    assert decoded.problems == ("rest: 2 bytes too many at 1",)


def test_a_length_of_zero_is_a_problem_not_a_number() -> None:
    decoded = decode_request(bytes.fromhex("34 00 40 00 00 00 10"))
    assert decoded.problems == ("memory_address: a length of 0 bytes is announced at 3",)
    assert decoded.rest == bytes.fromhex("00000010")


def test_an_empty_message_and_unknown_services_keep_what_they_have() -> None:
    empty = decode_request(b"")
    assert (empty.kind, empty.service, empty.fields) == (Kind.UNKNOWN, 0, ())
    assert empty.problems == ("service_identifier: needs 1 byte at 0, has 0",)
    unknown = decode_request(b"\x1a\x90")
    assert (unknown.kind, unknown.service, unknown.rest, unknown.problems) == (Kind.UNKNOWN, 0x1A, b"\x90", ())
    assert decode_response(b"\x5a\x90").service == 0x1A
    assert decode_response(b"\x22\xf1\x90").kind is Kind.UNKNOWN


def test_an_unknown_dialect_is_our_mistake() -> None:
    with pytest.raises(ValueError, match="no dialect 'klingon'"):
        decode_request(b"\x10\x01", dialect="klingon")


def test_widths_choices_groups_and_texts_of_the_language() -> None:
    layout = Layout(
        u8("size", parts=(bits("high", 7, 4), flag("odd", 0))),
        uint("number", "high"),
        choose("high", {2: [u16("two")]}, [rest("else")]),
        many(u8("a"), octets("b", 2), count=2),
        *with_length("name", 1),
        ascii_text("word", 2),
        optional(uint("below", 1, signed=True), rest("tail", least=1)),
    )
    data = bytes.fromhex("00 21 0102 0304 05 0607 08 090A 02 AABB 4F6B FF 01")
    decoded = layout.decode(data, name="test")
    assert decoded.problems == ()
    assert (decoded["high"], decoded["odd"], decoded["number"], decoded["two"]) == (2, True, 0x0102, 0x0304)
    assert decoded.rows("a", "b") == [(5, b"\x06\x07"), (8, b"\x09\x0a")]
    assert (decoded["name"], decoded["word"], decoded["below"], decoded["tail"]) == (b"\xaa\xbb", "Ok", -1, b"\x01")
    assert accounted(decoded)
    assert layout.decode(data[:-2]).get("below", 7) == 7
    assert layout.decode(data[:-1]).problems == ("tail: needs 1 byte at 18, has 0",)


def test_a_group_that_is_cut_off_does_not_count_as_a_row() -> None:
    decoded = decode_response(bytes.fromhex("59 02 FF 06 01 51 2F C1 00 87"))
    assert decoded.rows("dtc", "status_of_dtc") == [(0x060151, 0x2F)]
    assert decoded.problems == ("status_of_dtc: needs 1 byte at 10, has 0",)


def test_values_are_asked_for_by_name_and_kind() -> None:
    decoded = decode_request(bytes.fromhex("2E F1 90 41 42"))
    assert decoded.number("data_identifier") == 0xF190
    assert decoded.octets("data_record") == b"AB"
    assert decoded.get("nothing") is None
    for wrong in (
        lambda: decoded["nothing"],
        lambda: decoded.number("data_record"),
        lambda: decoded.octets("data_identifier"),
    ):
        with pytest.raises(KeyError):
            wrong()


def test_a_message_prints_itself_as_a_sentence() -> None:
    decoded = decode_request(bytes.fromhex("31 01 FF 00 02"))
    assert decoded.text() == (
        "RoutineControl request: sub function 01 startRoutine; routine identifier FF00 eraseMemory; "
        "routine control option record 02"
    )
    long = decode_request(b"\x36\x01" + bytes(1024))
    assert "(1024 bytes)" in long.text()
    assert len(long.text()) < 200


def test_a_decoded_message_travels_between_processes() -> None:
    decoded = decode_response(bytes.fromhex("59 02 FF 06 01 51 2F"))
    assert pickle.loads(pickle.dumps(decoded)) == decoded


def test_services_and_names_import_without_the_heavy_libraries() -> None:
    code = (
        "import sys, canlog.services.matching, canlog.names.tables, canlog.names.vin; "
        "print(sorted({'numpy', 'pandas', 'can', 'scapy'} & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
