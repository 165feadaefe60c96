"""Walks over whole domains: every number has exactly one entry, and the borders are where the standard has them."""

import pytest

from canlog.names.dids import DIDS, IDENTIFICATIONS, is_fingerprint, is_identification
from canlog.names.nrc import HIDDEN_WHEN_FUNCTIONAL, NRCS, NrcGroup
from canlog.names.ranges import Code, Owner, RangeTable
from canlog.names.rids import RIDS, is_pyrotechnic
from canlog.services.communication import COMMUNICATION_CONTROLS, DTC_SETTINGS, MESSAGE_TYPES
from canlog.services.data import DYNAMIC_DEFINITIONS, TRANSMISSION_MODES
from canlog.services.decode import UDS_LAYOUTS, decode_request, decode_response
from canlog.services.dtc import DTC_FORMATS, DTC_REPORTS, REQUESTS, RESPONSES
from canlog.services.event_and_link import EVENT_TYPES, LINK_CONTROLS, LINK_MODES
from canlog.services.io_control import IO_CONTROLS
from canlog.services.layout import Kind, request, response
from canlog.services.routine import ROUTINE_CONTROLS
from canlog.services.security import AUTHENTICATION_RETURN_VALUES, AUTHENTICATION_TASKS, SECURITY_LEVELS
from canlog.services.session import ACCESS_TIMING, RESETS, SESSIONS, TESTER_PRESENT
from canlog.services.table import RESPONSE_OFFSET, SERVICES, ServiceKind, service_of_response
from canlog.services.transfer import FILE_MODES

SEVEN_BITS = {
    "sessions": SESSIONS, "resets": RESETS, "tester present": TESTER_PRESENT, "access timing": ACCESS_TIMING,
    "security levels": SECURITY_LEVELS, "authentication": AUTHENTICATION_TASKS,
    "communication": COMMUNICATION_CONTROLS, "fault storing": DTC_SETTINGS, "definitions": DYNAMIC_DEFINITIONS,
    "reports": DTC_REPORTS, "link": LINK_CONTROLS, "routines": ROUTINE_CONTROLS,
}  # fmt: skip
EIGHT_BITS = {
    "return values": AUTHENTICATION_RETURN_VALUES, "modes": TRANSMISSION_MODES, "formats": DTC_FORMATS,
    "link modes": LINK_MODES, "io": IO_CONTROLS, "files": FILE_MODES,
}  # fmt: skip

#: ISO 14229-1:2020, table 2 (M), as the documentation of the package "uds" (ed5bfcc) repeats it.
REQUEST_RANGES = {
    ServiceKind.OBD: [*range(0x01, 0x10)],
    ServiceKind.MAKER: [*range(0xBA, 0xBF)],
    ServiceKind.NOT_A_REQUEST: [0x00, *range(0x3F, 0x83), *range(0x89, 0xBA), *range(0xBF, 0x100)],
}
#: The 27 services of the editions 2006 to 2020.
KNOWN = [
    0x10, 0x11, 0x14, 0x19, 0x22, 0x23, 0x24, 0x27, 0x28, 0x29, 0x2A, 0x2C, 0x2E, 0x2F, 0x31, 0x34, 0x35, 0x36,
    0x37, 0x38, 0x3D, 0x3E, 0x83, 0x84, 0x85, 0x86, 0x87,
]  # fmt: skip


def test_every_first_byte_has_its_kind() -> None:
    for sid in range(0x100):
        service = SERVICES[sid]
        assert service.sid == sid
        assert service.name
        wanted = next((kind for kind, sids in REQUEST_RANGES.items() if sid in sids), None)
        assert service.kind is (wanted or (ServiceKind.KNOWN if sid in KNOWN else ServiceKind.RESERVED))


def test_no_request_has_bit_6_set() -> None:
    for sid in range(0x100):
        if sid & 0x40:
            assert SERVICES[sid].kind is ServiceKind.NOT_A_REQUEST


def test_every_known_service_has_both_layouts_and_no_other_has() -> None:
    obd = range(0x01, 0x0B)
    assert set(UDS_LAYOUTS) == {key(sid) for sid in (*KNOWN, *obd) for key in (request, response)}


@pytest.mark.parametrize("sid", range(0x100))
def test_every_first_byte_decodes_as_request_and_as_response(sid: int) -> None:
    message = bytes([sid])
    asked, answered = decode_request(message), decode_response(message)
    assert asked.data == answered.data == message
    known = request(sid) in UDS_LAYOUTS
    assert asked.kind is (Kind.REQUEST if known else Kind.UNKNOWN)
    if sid == 0x7F:
        assert answered.kind is Kind.NEGATIVE
    else:
        known = response(sid - RESPONSE_OFFSET) in UDS_LAYOUTS
        assert answered.kind is (Kind.POSITIVE if known else Kind.UNKNOWN)


def test_a_response_begins_with_its_request_plus_40() -> None:
    for sid in range(0x100):
        is_request = SERVICES[sid].kind is not ServiceKind.NOT_A_REQUEST
        if is_request:
            assert service_of_response(sid + RESPONSE_OFFSET) == sid
    assert service_of_response(0x7F) is None
    assert service_of_response(0x10) is None


@pytest.mark.parametrize("name", SEVEN_BITS)
def test_every_sub_function_has_an_entry(name: str) -> None:
    assert list(SEVEN_BITS[name]) == list(range(0x80))
    assert all(SEVEN_BITS[name][number].name for number in range(0x80))


@pytest.mark.parametrize("name", EIGHT_BITS)
def test_every_byte_of_an_enumeration_has_an_entry(name: str) -> None:
    assert list(EIGHT_BITS[name]) == list(range(0x100))
    assert all(EIGHT_BITS[name][number].name for number in range(0x100))


@pytest.mark.parametrize("table", [SESSIONS, RESETS], ids=["sessions", "resets"])
def test_reserved_sub_functions_are_no_supplier_s(table: RangeTable[Code]) -> None:
    """The class of bug: a range tested with ``or`` for ``and`` takes in everything."""
    last_standard = 0x04 if table is SESSIONS else 0x05
    for number in range(0x80):
        owner = table[number].owner
        assert (owner is Owner.STANDARD) == (0x01 <= number <= last_standard)
        assert (owner is Owner.MAKER) == (0x40 <= number <= 0x5F)
        assert (owner is Owner.SUPPLIER) == (0x60 <= number <= 0x7E)


def test_security_levels_are_seeds_when_odd_and_keys_when_even() -> None:
    for number in range(0x80):
        name = SECURITY_LEVELS[number].name
        if number in (0x00, 0x7F) or 0x43 <= number <= 0x5E:
            assert name == "reserved"
        else:
            assert name.startswith("requestSeed" if number % 2 else "sendKey")
    assert "ISO 26021" in SECURITY_LEVELS[0x5F].name
    assert SECURITY_LEVELS[0x12].name == "sendKey level 11"


def test_every_report_that_is_not_reserved_has_layouts() -> None:
    named = {number for number in range(0x80) if DTC_REPORTS[number].owner is Owner.STANDARD}
    assert set(REQUESTS) == set(RESPONSES) == named


def test_event_types_fill_six_bits_and_message_types_two() -> None:
    assert list(EVENT_TYPES) == list(range(0x40))
    assert len(MESSAGE_TYPES) == 4


def test_every_negative_response_code_has_an_entry() -> None:
    assert list(NRCS) == list(range(0x100))
    for code in range(0x100):
        nrc = NRCS[code]
        assert nrc.code == code
        assert nrc.name
        assert nrc.meaning
        assert isinstance(nrc.group, NrcGroup)
        assert nrc.is_final == (code not in (0x21, 0x78, 0x94))
        assert nrc.hidden_when_functional == (code in (0x11, 0x12, 0x31, 0x7E, 0x7F))
    assert {0x11, 0x12, 0x31, 0x7E, 0x7F} == HIDDEN_WHEN_FUNCTIONAL
    assert {code for code in range(0x100) if NRCS[code].group is NrcGroup.VOLTAGE} == {0x92, 0x93}


def test_every_data_identifier_has_an_entry() -> None:
    assert list(DIDS) == list(range(0x10000))
    for did in range(0x10000):
        assert DIDS[did].name
        assert is_identification(did) == (did >> 8 == 0xF1)
        assert is_fingerprint(did) == (did in (0xF183, 0xF184, 0xF185))
    assert sorted(IDENTIFICATIONS) == list(range(0xF180, 0xF1A0))


@pytest.mark.parametrize(
    ("first", "last"), [(0xA600, 0xA7FF), (0xAD00, 0xAFFF), (0xB200, 0xBFFF), (0xC300, 0xCEFF)]
)  # fmt: skip
def test_the_legislated_gaps_are_not_the_maker_s(first: int, last: int) -> None:
    assert DIDS[first - 1].owner is DIDS[last + 1].owner is Owner.MAKER
    assert {DIDS[did].owner for did in range(first, last + 1)} == {Owner.LEGISLATION}


def test_every_routine_identifier_has_an_entry() -> None:
    assert list(RIDS) == list(range(0x10000))
    assert all(RIDS[rid].name for rid in range(0x10000))
    assert {rid for rid in range(0x10000) if is_pyrotechnic(rid)} == set(range(0xE200, 0xE300))


@pytest.mark.parametrize(
    "rows",
    [[(0, 1, "a"), (3, 7, "b")], [(0, 4, "a"), (4, 7, "b")], [(0, 6, "a")], [(1, 7, "a")], [(0, 8, "a")]],
    ids=["hole", "overlap", "short", "late", "long"],
)
def test_a_table_with_a_hole_or_an_overlap_cannot_be_made(rows: list[tuple[int, int, str]]) -> None:
    with pytest.raises(ValueError, match=r"row|ends"):
        RangeTable(7, rows)


def test_a_number_outside_a_table_is_a_key_error() -> None:
    with pytest.raises(KeyError):
        SESSIONS[0x80]
