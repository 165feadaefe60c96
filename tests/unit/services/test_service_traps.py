"""Facts of the services that decoders get wrong, each with its test.

Sources stand beside each; "(M)" is from memory of the standard.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canlog.names.dids import DIDS, changes_with_software, is_fingerprint, is_identification, is_tester_stamp
from canlog.names.dtc import dtc_text, failure_type, is_failing_now, is_stored
from canlog.names.nrc import NRCS
from canlog.names.ranges import Owner
from canlog.names.rids import RIDS
from canlog.services.data import split_records
from canlog.services.decode import decode_request, decode_response
from canlog.services.layout import Decoded, Kind
from canlog.services.matching import Answer, answers


def request(text: str) -> Decoded:
    return decode_request(bytes.fromhex(text))


def response(text: str, asked: str = "") -> Decoded:
    return decode_response(bytes.fromhex(text), request=bytes.fromhex(asked) if asked else None)


def test_a_message_that_begins_with_78_is_the_answer_to_38() -> None:
    """ISO 14229-1:2020, 8.4 and 15.6 (M); bytes of the tests of udsoncan (807f386)."""
    asked = request("38 01 00 0B 6D 79 5F 66 69 6C 65 2E 74 78 74 52 04 00 00 02 22 00 00 01 11")
    assert (asked["file_path_and_name"], asked["compression_method"]) == ("my_file.txt", 5)
    assert (asked["file_size_uncompressed"], asked["file_size_compressed"]) == (546, 273)
    answered = response("78 01 02 AB CD 52")
    assert (answered.service, answered.kind, answered["max_number_of_block_length"]) == (0x38, Kind.POSITIVE, 0xABCD)
    pending = response("7F 38 78")
    assert (pending.service, pending.kind) == (0x38, Kind.NEGATIVE)


def test_a_negative_response_names_a_request_never_a_response() -> None:
    assert response("7F 31 72").notes == ()
    assert response("7F 71 72").notes == ("requested_service: no request has bit 6 set",)
    assert response("7F 31 00").notes == ("negative_response_code: 00 is no negative response code",)
    assert response("7F 31").problems == ("negative_response_code: needs 1 byte at 2, has 0",)
    assert response("7F 31 72 00").problems == ("rest: 1 byte too many at 3",)


def test_the_message_type_of_28_stands_in_the_low_bits() -> None:
    """ISO 14229-1:2020, annex B.1 (M); udsoncan 1.26.1 and its test ``28 00 01``."""
    assert "normal and network management" in request("28 83 03").text()
    assert request("28 03 01").field("message_type").text == "normal"
    assert request("28 03 02").field("message_type").text == "network management"
    assert request("28 03 F1").field("subnet").text == "this network"
    assert request("28 03 01").field("subnet").text == "all connected networks"


def test_e200_and_ff02_are_named_for_every_edition() -> None:
    assert "executeSPL" in RIDS.name(0xE200)
    assert "2006" in RIDS.name(0xE200)
    assert "deployLoop" in RIDS.name(0xE201)
    assert RIDS[0xFF02].owner is Owner.RESERVED


def test_a_positive_routine_answer_keeps_its_status_apart() -> None:
    assert response("71 01 FF 01 01")["routine_status_record"] == b"\x01"
    assert response("71 01 FF 01").octets("routine_status_record") == b""


def test_a_write_is_answered_without_its_value() -> None:
    assert "data_record" not in response("6E F1 90")
    assert response("6E F1 90 41").problems


def test_fingerprints_are_f183_to_f185_and_f15a_is_no_trim() -> None:
    assert not is_fingerprint(0xF15A)
    assert is_identification(0xF15A)
    assert DIDS[0xF15A].owner is Owner.MAKER
    assert is_tester_stamp(0xF184)
    assert is_tester_stamp(0xF199)
    assert not is_tester_stamp(0xF190)
    assert changes_with_software(0xF188)
    assert not changes_with_software(0xF18C)


def test_the_block_length_counts_identifier_and_counter() -> None:
    """The documentation of the package ``uds`` (ed5bfcc): message length; minus two is arithmetic."""
    assert response("74 20 04 02").field("max_number_of_block_length").text == "1026 bytes, so 1024 data bytes a block"


def test_the_high_nibble_counts_the_size() -> None:
    """ISO 14229-1:2020, annex H.1 (M); udsoncan 1.26.1, scapy 2.8.0."""
    asked = request("34 00 24 00 00 12 34 00 FF")
    assert (asked["memory_address"], asked["memory_size"]) == (0x1234, 0xFF)
    assert response("74 20 04 02")["max_number_of_block_length"] == 0x0402
    assert response("78 01 02 04 02 00")["max_number_of_block_length"] == 0x0402


def test_an_all_zero_seed_is_a_seed() -> None:
    assert response("67 01 00 00 00 00")["security_seed"] == bytes(4)


def test_p2_star_counts_in_tens_of_milliseconds() -> None:
    decoded = response("50 03 00 32 01 F4")
    assert (decoded["p2_server_max_ms"], decoded["p2_star_server_max_ms"]) == (50, 5000)
    assert decoded.fields[-1].text == "5000 ms"
    assert response("50 03").problems == ()  # edition 2006 knew answers without the record
    assert response("50 03 00 32").problems == ("p2_star_server_max_ms: needs 2 bytes at 4, has 0",)


def test_10_85_answered_50_85_is_not_uds() -> None:
    """KWP2000 echoes the whole byte (scapy 2.8.0)."""
    assert request("10 85")["sub_function"] == 0x05
    assert answers(b"\x10\x85", b"\x50\x05").answer is Answer.POSITIVE
    assert answers(b"\x10\x85", b"\x50\x85").answer is Answer.NONE
    assert response("50 85").notes == ("sub_function: bit 7 is set in a response, as KWP2000 echoes it",)


def test_the_answers_to_03_07_0a_begin_with_a_count() -> None:
    """ISO 15031-5 on CAN; scapy 2.8.0."""
    assert response("43 02 01 43 01 96").all("dtc") == (0x0143, 0x0196)
    assert response("43 02 01 43").problems == ("dtc: needs 2 bytes at 4, has 0",)
    assert response("47 00").all("dtc") == ()


def test_the_byte_behind_an_infotype_counts_items() -> None:
    decoded = response("49 02 01" + b"1M8GDM9AXKP042788".hex())
    assert (decoded["number_of_data_items"], decoded["vin"]) == (1, "1M8GDM9AXKP042788")
    assert response("49 00 55 40 00 00")["supported_infotypes"] == bytes.fromhex("55400000")
    assert response("49 0B 01 00 07").rows("counter") == [(7,)]


def test_parameter_10_has_two_bytes() -> None:
    """Public PID tables; scapy 2.8.0 reads one and goes out of step."""
    decoded = response("41 10 0F A0 0D 1E")
    assert decoded.all("data_record") == (b"\x0f\xa0", b"\x1e")
    assert "40 g/s" in decoded.text()


def test_parameters_are_told_apart_only_while_their_sizes_are_known() -> None:
    decoded = response("41 0D 1E A6 00 01 02 03 0C 1A F8")
    assert decoded.all("parameter_identifier") == (0x0D, 0xA6)
    assert decoded.all("data_record") == (b"\x1e", bytes.fromhex("000102030C1AF8"))


def test_the_third_byte_of_a_code_is_the_failure_type() -> None:
    assert dtc_text(0xC10087) == "U0100-87"
    assert failure_type(0xC10087) == "missing message"
    assert failure_type(0x0100FE) == "failure type not in our table"


def test_stored_is_bit_3_and_failing_is_bit_0_as_far_as_supported() -> None:
    assert is_stored(0x08)
    assert not is_failing_now(0x08)
    assert is_failing_now(0x01)
    assert not is_stored(0x01)
    assert not is_stored(0x08, availability=0xF7)
    assert not is_failing_now(0x01, availability=0xFE)


def test_no_code_matching_is_a_good_answer() -> None:
    decoded = response("59 02 FF")
    assert decoded.problems == ()
    assert decoded.rows("dtc", "status_of_dtc") == []


def test_busy_is_not_final_and_pending_is_not_either() -> None:
    assert [code for code in range(256) if not NRCS[code].is_final] == [0x21, 0x78, 0x94]


def test_data_behind_77_are_kept() -> None:
    assert response("77 89 AB CD EF")["transfer_response_parameter_record"] == bytes.fromhex("89ABCDEF")


def test_a_fault_counter_is_signed() -> None:
    assert response("59 14 01 43 00 FF 01 44 00 7F").all("dtc_fault_detection_counter") == (-1, 127)


def test_two_identifiers_are_parted_only_where_one_way_fits() -> None:
    """Lengths are not on the wire."""
    once = bytes.fromhex("4A10 0102 4A11 03")
    twice = bytes.fromhex("4A10 01 4A11 02 4A11 03")
    asked = [0x4A10, 0x4A11]
    assert split_records(asked, once, {}) == [(0x4A10, b"\x01\x02"), (0x4A11, b"\x03")]
    assert split_records(asked, twice, {}) is None
    assert split_records(asked, twice, {0x4A10: 1}) == [(0x4A10, b"\x01"), (0x4A11, bytes.fromhex("024A1103"))]
    assert split_records(asked, twice, {0x4A11: 1}) == [(0x4A10, bytes.fromhex("014A1102")), (0x4A11, b"\x03")]
    assert split_records(asked, once, {0x4A10: 3}) is None
    assert split_records(asked, bytes.fromhex("4A11 01 4A10 02"), {}) is None
    assert split_records(asked, bytes.fromhex("4A10 4A11 03"), {}) is None  # an empty record is no record
    assert split_records([], b"", {}) is None
    assert split_records([0xF190], b"\xf1\x90" + b"A" * 17, {0xF190: 17}) == [(0xF190, b"A" * 17)]


def test_an_answer_to_several_identifiers_is_parted_with_its_request() -> None:
    decoded = response("62 4A10 0102 4A11 03", asked="22 4A10 4A11")
    assert decoded.rows("data_identifier", "data_record") == [(0x4A10, b"\x01\x02"), (0x4A11, b"\x03")]
    unclear = response("62 4A10 01 4A11 02 4A11 03", asked="22 4A10 4A11")
    assert unclear.rows("data_identifier", "data_record") == [(0x4A10, bytes.fromhex("014A11024A1103"))]
    assert unclear.notes == ("data_record: 2 identifiers were asked, their records cannot be told apart",)


@given(records=st.lists(st.tuples(st.integers(0, 0xFFFF), st.binary(min_size=1, max_size=6)), min_size=1, max_size=5))
def test_records_of_known_length_are_always_parted_rightly(records: list[tuple[int, bytes]]) -> None:
    records = list(dict(records).items())
    payload = b"".join(did.to_bytes(2, "big") + record for did, record in records)
    lengths = {did: len(record) for did, record in records}
    assert split_records([did for did, _ in records], payload, lengths) == records
    found = split_records([did for did, _ in records], payload, {})
    assert found in (None, records)


@pytest.mark.parametrize("text", ["31 81 FF 00", "27 91", "3E 80", "85 82", "19 82 FF"])
def test_bit_7_is_never_part_of_a_sub_function(text: str) -> None:
    decoded = request(text)
    assert decoded["suppress"] is True
    assert decoded.number("sub_function") < 0x80


def test_events_show_type_and_store_bit() -> None:
    decoded = request("86 C3 02 4A 10 22 4A 10")
    assert (decoded["suppress"], decoded["store_event"], decoded["event_type"]) == (True, True, 0x03)
    assert (decoded["event_type_record"], decoded["service_to_respond_to_record"]) == (b"\x4a\x10", b"\x22\x4a\x10")
