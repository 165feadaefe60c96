"""Facts about the older dialects that decoders get wrong, one test each.

Source: ISO 14230-3 (M), GMW3110 1.6 (M), SAE J1979 (M); layouts confirmed in scapy 2.8.0, public parameter tables
for mass air flow and message counts.
"""

import pytest

from canlog.names.nrc import GMW3110_NRCS, KWP_NRCS, NRCS, NrcGroup, nrcs
from canlog.names.obd import parameter_value
from canlog.services import gmw3110, kwp
from canlog.services.decode import decode_request, decode_response
from canlog.services.layout import Kind
from canlog.services.matching import Answer, Silence, answers, expects_answer, is_suppressed, silence_means


def asked(text: str, dialect: str, **how: int) -> dict[str, object]:
    decoded = decode_request(bytes.fromhex(text), dialect, **how)
    assert decoded.problems == ()
    return {one.name: one.value for one in decoded.fields[1:]}


def answered(text: str, dialect: str) -> dict[str, object]:
    decoded = decode_response(bytes.fromhex(text), dialect)
    assert decoded.problems == ()
    return {one.name: one.value for one in decoded.fields[1:]}


# --- KWP2000 -------------------------------------------------------------------------------------------------


def test_a_programming_session_of_kwp_is_no_suppressed_session_of_uds() -> None:
    request, response = bytes.fromhex("10 85"), bytes.fromhex("50 85")
    assert asked("10 85", "kwp2000") == {"diagnostic_mode": 0x85}
    assert answers(request, response, "kwp2000").answer is Answer.POSITIVE
    assert not is_suppressed(request, "kwp2000")
    assert expects_answer(request, functional=False, dialect="kwp2000")
    assert silence_means(request, functional=False, dialect="kwp2000") is Silence.LOST
    # The same bytes in UDS: session 05, no answer wanted, and 50 85 is no answer to it.
    assert is_suppressed(request)
    assert not answers(request, response)


@pytest.mark.parametrize(
    ("code", "uds", "kwp2000", "gmw"),
    [
        (0x23, "reserved", "routineNotComplete", "reserved"),
        (0x40, "reserved", "downloadNotAccepted", "reserved"),
        (0x50, "certificateVerificationFailedInvalidTimePeriod", "uploadNotAccepted", "reserved"),
        (0x80, "reserved", "subFunctionNotSupportedInActiveDiagnosticSession", "reserved"),
        (0x81, "rpmTooHigh", "reserved", "schedulerFull"),
        (0x83, "engineIsRunning", "reserved", "voltageOutOfRange"),
        (0x85, "engineRunTimeTooLow", "reserved", "generalProgrammingFailure"),
        (0x89, "vehicleSpeedTooLow", "reserved", "deviceTypeError"),
        (0x9A, "reservedForSpecificConditionsNotCorrect", "dataDecompressionFailed", "reserved"),
        (0x9B, "reservedForSpecificConditionsNotCorrect", "dataDecryptionFailed", "reserved"),
    ],
)
def test_a_code_means_what_its_dialect_says(code: int, uds: str, kwp2000: str, gmw: str) -> None:
    assert (NRCS[code].name, KWP_NRCS[code].name, GMW3110_NRCS[code].name) == (uds, kwp2000, gmw)
    for dialect, name in (("uds", uds), ("kwp2000", kwp2000), ("gmw3110", gmw)):
        assert f"{code:02X} {name}" in decode_response(bytes([0x7F, 0x36, code]), dialect).text()


def test_the_supply_voltage_has_its_own_code_in_gmw3110() -> None:
    assert GMW3110_NRCS[0x83].group is NrcGroup.VOLTAGE
    assert {code for code in range(0x100) if KWP_NRCS[code].group is NrcGroup.VOLTAGE} == set()


def test_a_routine_that_is_not_complete_is_waited_for() -> None:
    match = answers(b"\x33\xe0", b"\x7f\x33\x23", "kwp2000")
    assert (match.answer, match.is_final) == (Answer.NEGATIVE, False)
    assert answers(b"\x33\xe0", b"\x7f\x33\x72", "kwp2000").is_final


def test_a_clear_of_kwp_names_two_bytes_and_repeats_them() -> None:
    assert asked("14 FF 00", "kwp2000") == {"group_of_dtc": 0xFF00}
    assert "all groups" in decode_request(b"\x14\xff\x00", "kwp2000").text()
    assert "P0143" in decode_request(b"\x14\x01\x43", "kwp2000").text()
    assert answers(b"\x14\xff\x00", b"\x54\xff\x00", "kwp2000")
    assert not answers(b"\x14\xff\x00", b"\x54\x40\x00", "kwp2000")
    assert not answers(b"\x14\xff\x00", b"\x54", "kwp2000")


def test_a_fault_of_kwp_is_two_bytes_and_a_status() -> None:
    decoded = decode_response(bytes.fromhex("58 02 01 43 E0 C1 00 20"), "kwp2000")
    assert decoded.problems == ()
    assert decoded.rows("dtc", "status_of_dtc", "storage_state", "warning_lamp") == [
        (0x0143, 0xE0, 3, True),
        (0xC100, 0x20, 1, False),
    ]
    assert answered("58 00", "kwp2000") == {"number_of_dtc": 0}


def test_a_download_of_kwp_has_three_bytes_of_address_and_no_format_in_front() -> None:
    assert asked("34 08 00 00 11 00 60 00", "kwp2000") == {
        "memory_address": 0x080000, "data_format_identifier": 0x11, "compression_method": 1, "encrypting_method": 1,
        "memory_size": 0x6000,
    }  # fmt: skip


@pytest.mark.parametrize(("text", "length"), [("74 82", 0x82), ("74 0F 02", 0xF02), ("74", None)])
def test_the_block_length_of_kwp_stands_alone(text: str, length: int | None) -> None:
    assert answered(text, "kwp2000").get("max_number_of_block_length") == length


def test_a_routine_of_kwp_has_one_byte_and_three_services() -> None:
    assert asked("31 E0 01 02", "kwp2000") == {
        "routine_local_identifier": 0xE0, "routine_entry_option_record": b"\x01\x02",
    }  # fmt: skip
    for start in (0x31, 0x32, 0x33):
        assert answers(bytes([start, 0xE0]), bytes([start + 0x40, 0xE0, 0x00]), "kwp2000")
        assert not answers(bytes([start, 0xE0]), bytes([start + 0x40, 0xE1]), "kwp2000")


def test_a_trim_is_stored_by_a_long_term_adjustment() -> None:
    assert "longTermAdjustment" in decode_request(bytes.fromhex("30 10 08 05"), "kwp2000").text()
    assert answers(bytes.fromhex("30 10 08 05"), bytes.fromhex("70 10 08 05"), "kwp2000")
    assert not answers(bytes.fromhex("30 10 08 05"), bytes.fromhex("70 10 07 05"), "kwp2000")


@pytest.mark.parametrize(
    ("text", "silent"),
    [("3E 01", False), ("3E 02", True), ("28 02", True), ("29 01", False), ("3E", False),
     ("85 02 FF 00 02", True), ("85 01 FF 00 02", False)],
)  # fmt: skip
def test_kwp_says_in_a_byte_of_its_own_whether_an_answer_is_wanted(text: str, silent: bool) -> None:
    request = bytes.fromhex(text)
    assert is_suppressed(request, "kwp2000") is silent
    assert expects_answer(request, functional=False, dialect="kwp2000") is not silent


def test_28_and_29_of_kwp_are_answered_without_an_echo() -> None:
    for service in (0x28, 0x29, 0x3E, 0x85):
        request = bytes([service, 1]) + (b"\xff\x00\x02" if service == 0x85 else b"")
        assert decode_request(request, "kwp2000").problems == ()
        assert answers(request, bytes([service + 0x40]), "kwp2000")


def test_a_seed_and_a_key_of_kwp_are_told_apart_by_the_mode() -> None:
    assert asked("27 01", "kwp2000") == {"access_mode": 1, "security_access_data_record": b""}
    assert asked("27 02 11 22", "kwp2000") == {"access_mode": 2, "security_key": b"\x11\x22"}
    assert answered("67 01 11 22", "kwp2000") == {"access_mode": 1, "security_seed": b"\x11\x22"}
    assert answered("67 02 34", "kwp2000") == {"access_mode": 2, "security_access_status": b"\x34"}


def test_a_block_of_kwp_stays_whole_and_its_counter_is_judged_from_several() -> None:
    counted = [bytes([0x36, number & 0xFF, 0xAA, number & 0xFF]) for number in range(1, 300)]
    plain = [b"\x36" + bytes([value, 1, 2]) for value in (0x7C, 0x08, 0x02, 0xA6)]
    assert asked("36 01 AA BB", "kwp2000") == {"transfer_request_parameter_record": b"\x01\xaa\xbb"}
    assert kwp.blocks_are_counted(counted) is True
    assert kwp.blocks_are_counted([*counted[:2], counted[1], *counted[2:]]) is True  # asked again
    assert kwp.blocks_are_counted(counted, [bytes([0x76, block[1]]) for block in counted]) is True
    assert kwp.blocks_are_counted(plain) is False
    assert kwp.blocks_are_counted(counted[:3], [b"\x76\x7f"]) is False
    assert kwp.blocks_are_counted(counted[:1]) is None
    assert kwp.blocks_are_counted([]) is None


def test_an_answer_with_another_counter_belongs_to_another_block() -> None:
    assert answers(b"\x36\x01\xaa", b"\x76\x01", "kwp2000")
    assert not answers(b"\x36\x02\xaa", b"\x76\x01", "kwp2000")
    assert answers(b"\x36\x7c\x08", b"\x76", "kwp2000")  # the flavour without a counter
    assert answers(b"\x36", b"\x76\x11\x22", "kwp2000")  # an upload without a counter


# --- GMW3110 -------------------------------------------------------------------------------------------------


def test_28_and_3e_of_gmw3110_have_no_parameters() -> None:
    for service in (0x28, 0x3E, 0x20, 0xA2, 0x04):
        assert decode_request(bytes([service]), "gmw3110").problems == ()
        assert decode_request(bytes([service, 1]), "gmw3110").rest == b"\x01"
        answer = bytes([service + 0x40]) + (b"\x00" if service == 0xA2 else b"")
        assert answers(bytes([service]), answer, "gmw3110")
        assert decode_response(answer, "gmw3110").problems == ()
    assert decode_request(b"\x28").problems  # UDS wants a control type


@pytest.mark.parametrize(
    ("text", "size", "width"),
    [("34 00 0F FE", 0x0FFE, 2), ("34 00 01 00 00", 0x010000, 3), ("34 00 00 02 00 00", 0x020000, 4)],
)
def test_a_download_of_gmw3110_names_a_size_and_no_address(text: str, size: int, width: int) -> None:
    assert asked(text, "gmw3110") == {"data_format_identifier": 0, "memory_size": size}
    assert gmw3110.address_bytes_of(bytes.fromhex(text)) == width
    assert answered("74", "gmw3110") == {}


def test_a_block_of_gmw3110_has_a_sub_function_and_an_address_and_no_counter() -> None:
    text = "36 00 00 3F C1 00 AA BB"
    assert asked(text, "gmw3110", address_bytes=4) == {
        "sub_function": 0, "memory_address": 0x003FC100, "transfer_request_parameter_record": b"\xaa\xbb",
    }  # fmt: skip
    assert asked(text, "gmw3110")["address_and_data_record"] == bytes.fromhex("003FC100AABB")
    assert asked("36 80 00 3F C1 00", "gmw3110", address_bytes=4)["sub_function"] == gmw3110.EXECUTE
    assert answers(bytes.fromhex(text), b"\x76", "gmw3110")
    assert asked("36 05 01", "uds", address_bytes=4)["block_sequence_counter"] == 5  # not for another dialect


def test_widths_of_addresses_are_known_from_downloads_and_memory_reads_only() -> None:
    assert gmw3110.address_bytes_of(bytes.fromhex("23 00 3F C1 00 00 10")) == 4
    assert gmw3110.address_bytes_of(bytes.fromhex("2D 12 34 3F C1 00 02")) == 3
    assert gmw3110.address_bytes_of(b"\x34\x00") is None
    assert gmw3110.address_bytes_of(bytes(9)) is None
    assert gmw3110.address_bytes_of(b"") is None
    assert asked("23 3F C1 00 00 10", "gmw3110") == {"memory_address": 0x3FC100, "memory_size": 0x10}


def test_nobody_answers_when_programming_is_enabled() -> None:
    enable, ask = b"\xa5\x03", b"\xa5\x01"
    assert is_suppressed(enable, "gmw3110")
    assert not expects_answer(enable, functional=False, dialect="gmw3110")
    assert silence_means(enable, functional=False, dialect="gmw3110") is Silence.MAY_BE_SUCCESS
    assert expects_answer(ask, functional=False, dialect="gmw3110")
    assert silence_means(b"\x3e", functional=True, dialect="gmw3110") is Silence.MAY_BE_SUCCESS
    assert silence_means(b"\x3e", functional=False, dialect="gmw3110") is Silence.LOST


def test_reports_of_gmw3110_are_answered_by_frames_of_their_own() -> None:
    assert silence_means(b"\xa9\x81\x12", functional=False, dialect="gmw3110") is Silence.ELSEWHERE
    assert silence_means(b"\xaa\x01\x10", functional=False, dialect="gmw3110") is Silence.ELSEWHERE
    fault = gmw3110.decode_report(bytes.fromhex("81 01 43 00 2F 00 00 00"))
    assert (fault["dtc"], fault["status_of_dtc"], fault.service) == (0x014300, 0x2F, 0xA9)
    assert "P0143-00" in fault.text()
    packet = gmw3110.decode_report(bytes.fromhex("10 01 02 03 04 05 06 07"), 0xAA)
    assert (packet["packet_identifier"], packet["data_record"]) == (0x10, bytes(range(1, 8)))
    assert gmw3110.decode_report(b"").kind is Kind.UNKNOWN
    assert gmw3110.decode_report(b"\x81\x01").problems


def test_a_limit_that_is_not_kept_is_told_by_two_more_bytes() -> None:
    decoded = decode_response(bytes.fromhex("7F AE E3 00 04"), "gmw3110")
    assert (decoded["device_control_limit"], decoded.problems) == (4, ())
    assert decode_response(bytes.fromhex("7F AE E3"), "gmw3110").problems == ()
    assert decode_response(bytes.fromhex("7F AE 22 00 04"), "gmw3110").rest == b"\x00\x04"
    assert answers(bytes.fromhex("AE 10 01 02 03 04 05"), decoded.data, "gmw3110").nrc == 0xE3


def test_a_memory_read_of_gmw3110_repeats_its_address() -> None:
    request = bytes.fromhex("23 00 3F C1 00 00 02")
    assert answers(request, bytes.fromhex("63 00 3F C1 00 AA BB"), "gmw3110")
    assert not answers(request, bytes.fromhex("63 00 3F C2 00 AA BB"), "gmw3110")


@pytest.mark.parametrize(
    ("request_hex", "right", "wrong"),
    [
        ("1A 90", "5A 90 31", "5A C1 31"),
        ("3B 90 31", "7B 90", "7B 98"),
        ("22 12 34", "62 12 34 01", "62 12 35 01"),
        ("27 01", "67 01 12 34", "67 03 12 34"),
        ("12 01", "52 01 00", "52 02 00"),
        ("AE 10 01 02 03 04 05", "EE 10", "EE 11"),
        ("2C 10 12 34", "6C 10", "6C 11"),
        ("2D 12 34 00 10 02", "6D 12 34", "6D 12 35"),
        ("A5 01", "E5", "E2 00"),
        ("10 02", "50", "60"),
    ],
)
def test_an_answer_of_gmw3110_is_taken_by_what_it_repeats(request_hex: str, right: str, wrong: str) -> None:
    assert answers(bytes.fromhex(request_hex), bytes.fromhex(right), "gmw3110").answer is Answer.POSITIVE
    assert not answers(bytes.fromhex(request_hex), bytes.fromhex(wrong), "gmw3110")


# --- OBD -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sid", [0x43, 0x47, 0x4A])
@pytest.mark.parametrize("dialect", ["obd", "uds", "kwp2000", "gmw3110"])
def test_a_count_stands_before_the_faults_on_can(sid: int, dialect: str) -> None:
    decoded = decode_response(bytes([sid, 2, 0x01, 0x43, 0xC1, 0x00]), dialect)
    assert (decoded["number_of_dtc"], decoded.all("dtc"), decoded.problems) == (2, (0x0143, 0xC100), ())
    assert decode_response(bytes([sid, 3, 0x01, 0x43]), dialect).problems


def test_the_byte_behind_an_infotype_counts_items_and_no_messages() -> None:
    vin = decode_response(b"\x49\x02\x01" + b"1M8GDM9AXKP042788", "obd")
    assert (vin["number_of_data_items"], vin["vin"]) == (1, "1M8GDM9AXKP042788")
    two = decode_response(b"\x49\x04\x02" + b"CAL-A".ljust(16, b"\0") + b"CAL-B".ljust(16, b"\0"), "obd")
    assert [str(one).rstrip("\0") for one in two.all("calibration_identification")] == ["CAL-A", "CAL-B"]
    long = decode_response(b"\x49\x04\x01" + b"CAL-OF-TWENTY-LETTER", "obd")
    assert (long["calibration_identification"], long.problems) == ("CAL-OF-TWENTY-LETTER", ())


def test_a_message_count_on_can_is_noted_and_no_fault_of_the_vin() -> None:
    decoded = decode_response(b"\x49\x01\x05", "obd")
    assert (decoded["message_count"], decoded.problems, len(decoded.notes)) == (5, (), 1)


def test_support_masks_of_infotypes_have_no_count() -> None:
    decoded = decode_response(bytes.fromhex("49 00 55 40 00 01 20 80 00 00 00"), "obd")
    assert decoded.problems == ()
    assert decoded.rows("infotype", "supported_infotypes") == [
        (0x00, bytes.fromhex("55400001")), (0x20, bytes.fromhex("80000000")),
    ]  # fmt: skip


def test_mass_air_flow_has_two_bytes_and_what_follows_stays_in_step() -> None:
    decoded = decode_response(bytes.fromhex("41 10 0F A0 0D 1E"), "obd")
    assert decoded.rows("parameter_identifier", "data_record") == [(0x10, b"\x0f\xa0"), (0x0D, b"\x1e")]
    assert parameter_value(0x10, b"\x0f\xa0") == 40.0


def test_parameters_that_are_no_number_are_said_in_words() -> None:
    text = decode_response(bytes.fromhex("41 01 83 33 FF 63 03 02 00 1C 06 00 80 00 00 01"), "obd").text()
    for words in ("warning lamp on, 3 stored", "closed loop; not in use", "OBD requirements EOBD", "01-20 01 20"):
        assert words in text
    frozen = decode_response(bytes.fromhex("42 02 00 01 43"), "obd")
    assert "P0143" in frozen.text()
    assert "none" in decode_response(bytes.fromhex("42 02 00 00 00"), "obd").text()


def test_a_monitor_result_is_said_in_its_unit() -> None:
    decoded = decode_response(bytes.fromhex("46 01 01 0A 0B B0 0B B0 0B B0"), "obd")
    assert decoded.field("test_value").text == "365.024 mV"
    signed = decode_response(bytes.fromhex("46 01 01 96 FF F6 00 00 7F FF"), "obd")
    assert signed.field("test_value").text == "-1 °C"
    assert decode_response(bytes.fromhex("46 01 01 60 FF F6 00 00 7F FF"), "obd").field("test_value").text == "FFF6"


@pytest.mark.parametrize(
    ("text", "name", "said"),
    [
        ("62 F4 0C 1A F8", "parameter", "engine speed 1726 min⁻¹"),
        ("62 F4 42 2F 44", "parameter", "module voltage 12.1 V"),
        ("62 F8 02 31 4D 38 47 44 4D 39 41 58 4B 50 30 34 32 37 38 38", "vin", "1M8GDM9AXKP042788"),
        ("62 F8 02 01 31 4D 38 47 44 4D 39 41 58 4B 50 30 34 32 37 38 38", "vin", "1M8GDM9AXKP042788"),
        ("62 F8 06 00 00 1B 7C", "calibration_verification_number", "00 00 1B 7C"),
        ("62 F6 01 01 0A 0B B0 0B B0 0B B0", "test_value", "365.024 mV"),
    ],
)
def test_obd_by_uds_identifiers_reads_with_the_same_tables(text: str, name: str, said: str) -> None:
    decoded = decode_response(bytes.fromhex(text))
    assert decoded.field(name).text == said
    assert decoded["data_record"] == bytes.fromhex(text)[3:]  # the record itself stays whole
    assert decoded.problems == ()


def test_an_obd_identifier_of_another_size_stays_as_it_is() -> None:
    for text in ("62 F4 0C 1A", "62 F8 02 41 42", "62 F6 01 01 02", "62 F4 E5 01", "62 F8 06 03 00 00 1B 7C", "62 F8"):
        decoded = decode_response(bytes.fromhex(text))
        assert all(one.size for one in decoded.fields)


def test_several_obd_identifiers_are_told_apart_by_their_sizes() -> None:
    request, answer = bytes.fromhex("22 F4 0C F4 0D"), bytes.fromhex("62 F4 0C F4 0D F4 0D 1E")
    decoded = decode_response(answer, request=request)
    assert decoded.rows("data_identifier", "data_record") == [(0xF40C, b"\xf4\x0d"), (0xF40D, b"\x1e")]
    assert [one.text for one in decoded.fields if one.name == "parameter"] == [
        "engine speed 15619.2 min⁻¹", "vehicle speed 30 km/h",
    ]  # fmt: skip


# --- all -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ask", [lambda: answers(b"\x10", b"\x50", "dutch"), lambda: is_suppressed(b"\x10", "dutch"),
                                 lambda: decode_response(b"\x50", "dutch"), lambda: nrcs("dutch"),
                                 lambda: expects_answer(b"\x10", functional=False, dialect="dutch")])  # fmt: skip
def test_an_unknown_dialect_is_refused_everywhere(ask: object) -> None:
    with pytest.raises(ValueError, match="no dialect 'dutch'; there are uds, kwp2000, gmw3110, obd"):
        ask()  # type: ignore[operator]
