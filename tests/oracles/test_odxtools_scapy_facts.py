"""scapy 2.8.0 (GPL-2.0) and odxtools 11.7.1 (MIT) beside our tables and layouts.

They share no code with udsoncan. Differences are listed by name with the reason; the tests fail if one goes away.
"""

import re
import warnings

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canlog.names.dids import DIDS
from canlog.names.dtc import STATUS_BITS, two_byte_dtc_text
from canlog.names.nrc import NRCS
from canlog.names.obd import PARAMETERS, parameter_value
from canlog.names.ranges import Owner
from canlog.services.decode import decode_request, decode_response
from canlog.services.dtc import DTC_REPORTS
from canlog.services.session import RESETS, SESSIONS
from canlog.services.table import SERVICES, ServiceKind

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from odxtools.uds import NegativeResponseCodes, sid_to_name
    from scapy.contrib.automotive.obd.obd import OBD
    from scapy.contrib.automotive.obd.services import OBD_DTC
    from scapy.contrib.automotive.uds import UDS, UDS_CC, UDS_DSC, UDS_ER, UDS_NR, UDS_RDTCI, UDS_SA


def plain(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.lower())


# --- scapy: names --------------------------------------------------------------------------------------------

#: Code: (their name, reason).
SCAPY_NRC = {
    0x57: ("certificateVerificationFailedInvalidCertificateRevoked", "adds the reason"),
    0x8F: ("brakeSwitch(es)NotClosed", "both numbers in one"),
}


def test_scapy_has_the_same_negative_response_codes() -> None:
    theirs = UDS_NR.negativeResponseCodes
    named = {code: name for code, name in theirs.items() if name != "ISOSAEReserved"}
    different = {code for code, name in named.items() if plain(name) != plain(NRCS[code].name)}
    assert different == set(SCAPY_NRC)
    assert all(named[code] == name for code, (name, _) in SCAPY_NRC.items())
    assert all(NRCS[code].is_reserved for code, name in theirs.items() if name == "ISOSAEReserved")
    ours = {code for code in range(0x100) if not NRCS[code].is_reserved and code < 0xF0}
    assert ours - set(named) == {0x38, 0x39, 0x94}  # 2020, not in their table


def test_scapy_has_the_same_services() -> None:
    for first, name in UDS.services.items():
        if first == 0x7F:
            continue
        is_response = name.endswith("PositiveResponse")
        ours = SERVICES[first - 0x40 if is_response else first]
        assert ours.kind is ServiceKind.KNOWN
        bare = name.removesuffix("PositiveResponse")
        assert bare == ours.name or (bare, ours.sid) == ("ReadDataPeriodicIdentifier", 0x2A)


def test_scapy_has_the_same_sessions_and_resets() -> None:
    for theirs, ours in ((UDS_DSC.diagnosticSessionTypes, SESSIONS), (UDS_ER.resetTypes, RESETS)):
        named = {number for number in ours if ours[number].owner is Owner.STANDARD}
        assert named <= set(theirs)
        assert all(plain(theirs[number]) == plain(ours.name(number)) for number in named)


def test_scapy_s_report_names_are_ours() -> None:
    for number, name in UDS_RDTCI.reportTypes.items():
        if name != "ISOSAEReserved":
            assert plain(name) == plain(DTC_REPORTS.name(number)) or number in SCAPY_REPORTS, (number, name)


#: Number: reason.
SCAPY_REPORTS = {
    0x05: "2006 wording",
    0x06: "2006 wording",
    0x0A: "2006 wording",
    0x10: "2006 wording",
    0x12: "2006 wording",
    0x13: "2006 wording",
}


# --- scapy: layouts ------------------------------------------------------------------------------------------

#: 5-byte addresses are not read by scapy (the size field shows address bytes), so only 1 to 4 here.
WIDTHS = st.integers(1, 4)


@given(dfi=st.integers(0, 255), n_address=WIDTHS, n_size=WIDTHS, data=st.data())
def test_scapy_reads_the_same_memory_location(dfi: int, n_address: int, n_size: int, data: st.DataObject) -> None:
    address = data.draw(st.binary(min_size=n_address, max_size=n_address))
    size = data.draw(st.binary(min_size=n_size, max_size=n_size))
    message = bytes([0x34, dfi, n_size << 4 | n_address]) + address + size
    theirs, ours = UDS(message), decode_request(message)
    assert ours.problems == ()
    assert ours["memory_address"] == getattr(theirs, f"memoryAddress{n_address}")
    assert ours["memory_size"] == getattr(theirs, f"memorySize{n_size}")
    assert (ours["compression_method"], ours["encrypting_method"]) == (dfi >> 4, dfi & 15)


def test_scapy_goes_out_of_step_at_a_5_byte_address() -> None:
    message = bytes.fromhex("34 00 45 01 02 03 04 05 00 00 10 00")
    assert UDS(message).memorySize4 != 0x1000
    assert decode_request(message)["memory_size"] == 0x1000


@given(tail=st.binary(min_size=1, max_size=10), first=st.sampled_from([0x2E, 0x36, 0x31, 0x11, 0x10, 0x22, 0x27]))
def test_scapy_reads_the_same_first_parameters(first: int, tail: bytes) -> None:
    message = bytes([first]) + tail + bytes(3)
    theirs, ours = UDS(message), decode_request(message)
    pairs = {
        0x2E: [("data_identifier", "dataIdentifier")],
        0x36: [("block_sequence_counter", "blockSequenceCounter"),
               ("transfer_request_parameter_record", "transferRequestParameterRecord")],
        0x31: [("routine_identifier", "routineIdentifier")],
        0x11: [], 0x10: [], 0x22: [], 0x27: [],
    }  # fmt: skip
    for mine, yours in pairs[first]:
        assert ours[mine] == getattr(theirs, yours)
    if first == 0x22 and len(message) % 2:
        assert list(ours.all("data_identifier")) == theirs.identifiers
    if first in (0x10, 0x11, 0x31, 0x27):
        assert ours.number("sub_function") | ours.number("suppress") << 7 == message[1]


@given(pairs=st.lists(st.tuples(st.integers(0, 0xFFFFFF), st.integers(0, 255)), max_size=6), mask=st.integers(0, 255))
def test_scapy_reads_the_same_list_of_faults(pairs: list[tuple[int, int]], mask: int) -> None:
    message = bytes([0x59, 0x02, mask]) + b"".join(code.to_bytes(3, "big") + bytes([status]) for code, status in pairs)
    theirs, ours = UDS(message), decode_response(message)
    assert [code for code, _ in ours.rows("dtc", "status_of_dtc")] == [
        int.from_bytes(bytes(record.dtc), "big") for record in theirs.DTCAndStatusRecord
    ]
    assert list(ours.all("status_of_dtc")) == [int(record.status) for record in theirs.DTCAndStatusRecord]


def test_scapy_names_the_same_status_bits() -> None:
    theirs = UDS_RDTCI.dtcStatus
    assert [plain(theirs[1 << bit]) for bit in range(8)] == [plain(name) for name in STATUS_BITS]


def test_scapy_puts_the_message_type_of_28_elsewhere() -> None:
    """Known difference: they read type in bits 7-6 and subnet in 3-0; the bytes in use (01, 03) say otherwise."""
    theirs = UDS(bytes.fromhex("28 03 01"))
    assert isinstance(theirs.payload, UDS_CC)
    assert (theirs.communicationType0, theirs.communicationType2) != (1, 0)
    assert decode_request(bytes.fromhex("28 03 01"))["message_type"] == 1


def test_scapy_separates_seed_and_key_alike() -> None:
    seed, key = UDS(bytes.fromhex("27 11 01 02")), UDS(bytes.fromhex("27 12 01 02"))
    assert isinstance(seed.payload, UDS_SA)
    assert seed.securityAccessDataRecord == decode_request(bytes(seed))["security_access_data_record"]
    assert key.securityKey == decode_request(bytes(key))["security_key"]
    answered = bytes.fromhex("67 11 5A 3C 91 E7")
    assert UDS(answered).securitySeed == decode_response(answered)["security_seed"]


# --- scapy: OBD ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sid", [0x43, 0x47, 0x4A])
@given(codes=st.lists(st.integers(0, 0xFFFF), max_size=8))
def test_scapy_reads_the_same_obd_faults(sid: int, codes: list[int]) -> None:
    message = bytes([sid, len(codes)]) + b"".join(code.to_bytes(2, "big") for code in codes)
    theirs, ours = OBD(message), decode_response(message)
    assert ours["number_of_dtc"] == theirs.count
    for code, record in zip(ours.all("dtc"), theirs.dtcs, strict=True):
        letter = {"Powertrain": "P", "Chassis": "C", "Body": "B", "Network": "U"}[OBD_DTC.locations[record.location]]
        text = f"{letter}{record.code1:X}{record.code2:X}{record.code3:X}{record.code4:X}"
        assert two_byte_dtc_text(int(code)) == text


#: Parameters whose one number scapy gives as a field ``data`` in the same unit.
ONE_NUMBER = [0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x11, 0x1F, 0x21, 0x2F, 0x30, 0x31, 0x33, 0x42,
              0x46, 0x4D, 0x4E, 0x5C]  # fmt: skip


@pytest.mark.parametrize("number", ONE_NUMBER, ids=lambda number: f"{number:02X}")
@given(raw=st.binary(min_size=2, max_size=2))
def test_scapy_gives_the_same_value_of_a_parameter(number: int, raw: bytes) -> None:
    data = raw[: PARAMETERS[number].size]
    message = bytes([0x41, number]) + data
    theirs = OBD(message).data_records[0].data
    assert parameter_value(number, data) == pytest.approx(float(theirs), abs=2e-3)
    assert decode_response(message).problems == ()


def test_scapy_has_the_same_sizes_of_parameters() -> None:
    """Known difference: 10 (mass air flow) has two bytes in public tables, scapy reads one."""
    sizes = {}
    for number in PARAMETERS:
        record = OBD(bytes([0x41, number]) + bytes(40)).data_records[0].payload
        if type(record).__name__.startswith("OBD_PID"):
            sizes[number] = len(bytes(type(record)()))
    different = {number for number, size in sizes.items() if size != PARAMETERS[number].size}
    assert different == {0x10, 0x02}  # the empty packet of 02 holds no code, so it has no size to compare
    assert set(PARAMETERS) - set(sizes) <= {0xC0, 0xE0}  # support blocks that they do not list


def test_scapy_reads_one_byte_of_mass_air_flow() -> None:
    theirs = OBD(bytes.fromhex("41 10 0F A0")).data_records[0]
    assert theirs.data == pytest.approx(0.15)
    assert parameter_value(0x10, b"\x0f\xa0") == 40


# --- odxtools ------------------------------------------------------------------------------------------------

#: Service: their name, plural or an edition's wording.
ODXTOOLS_SERVICES = {0x85: "Control DTC Settings"}


def test_odxtools_has_the_same_services() -> None:
    for sid in range(0x10, 0x100):
        name = sid_to_name(sid)
        ours = SERVICES[sid]
        if name is None or sid in (0x81, 0x82):
            assert ours.kind is not ServiceKind.KNOWN
        elif 0xA0 <= sid <= 0xB9:
            # Known difference: they call this range the maker's; ISO 14229-1 has no services there.
            assert (name, ours.kind) == ("OEM Specific", ServiceKind.NOT_A_REQUEST)
        elif 0xBA <= sid <= 0xBE:
            assert ours.kind is ServiceKind.MAKER
        else:
            assert ours.kind is ServiceKind.KNOWN
            assert plain(name) == plain(ours.name) or name == ODXTOOLS_SERVICES[sid]


#: Codes that odxtools spells in its own way.
ODXTOOLS_SPELLINGS = {
    0x13: "InvalidFormat", 0x14: "TooLong", 0x21: "Busy", 0x22: "ConditionsIncorrect", 0x26: "Failure",
    0x36: "ExceededNumberOfAttempts", 0x70: "UpDownloadNotAccepted", 0x78: "ResponsePending",
}  # fmt: skip


def test_odxtools_has_the_same_negative_response_codes() -> None:
    for code in NegativeResponseCodes:
        ours = NRCS[int(code)]
        if code.name == "Reserved":
            assert ours.is_reserved
        else:
            assert code.name == ODXTOOLS_SPELLINGS.get(int(code), code.name)
            assert int(code) in ODXTOOLS_SPELLINGS or plain(code.name) == plain(ours.name)


def test_the_vin_is_f190_everywhere() -> None:
    assert DIDS.name(0xF190) == "VIN"
    assert DIDS[0xF190].owner is Owner.STANDARD
