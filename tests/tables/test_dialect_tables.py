"""Walks over whole domains of KWP2000, GMW3110 and OBD: every byte has one entry, in every dialect.

Source of the borders: ISO 14230-3 (M), GMW3110 1.6 (M), SAE J1979 (M); names as in scapy 2.8.0 (tests/oracles).
"""

import pytest

from canlog.names.nrc import GMW3110_NRCS, KWP_NRCS, NRC_TABLES, NRCS, OBD_NRCS, NrcGroup, nrcs
from canlog.names.obd import CALIBRATION_SIZES, INFOTYPES, PARAMETERS, UNITS
from canlog.names.ranges import Code, RangeTable
from canlog.services import gmw3110, kwp, obd
from canlog.services.decode import DIALECTS, decode_request, decode_response
from canlog.services.layout import Kind, request, response
from canlog.services.matching import ECHOES_BY_DIALECT, Answer, answers, is_pending, is_suppressed
from canlog.services.table import RESPONSE_OFFSET, ServiceKind, service_of_response
from canlog.services.traits import TRAITS

KWP_SERVICES = [
    0x10, 0x11, 0x12, 0x13, 0x14, 0x17, 0x18, 0x1A, 0x20, 0x21, 0x22, 0x23, 0x27, 0x28, 0x29, 0x2C, 0x2E, 0x2F, 0x30,
    0x31, 0x32, 0x33, 0x34, 0x35, 0x36, 0x37, 0x38, 0x39, 0x3A, 0x3B, 0x3D, 0x3E, 0x80, 0x81, 0x82, 0x83, 0x85, 0x86,
]  # fmt: skip
GMW_SERVICES = [
    0x04, 0x10, 0x12, 0x1A, 0x20, 0x22, 0x23, 0x27, 0x28, 0x2C, 0x2D, 0x34, 0x36, 0x3B, 0x3E, 0xA2, 0xA5, 0xA9, 0xAA,
    0xAE,
]  # fmt: skip
KNOWN = {"kwp2000": KWP_SERVICES, "gmw3110": GMW_SERVICES, "obd": []}
OBD_SERVICES = range(0x01, 0x0B)

EIGHT_BITS: dict[str, RangeTable[Code]] = {
    "kwp sessions": kwp.SESSIONS, "kwp resets": kwp.RESETS, "kwp answers wanted": kwp.RESPONSE_TYPES,
    "kwp io": kwp.IO_CONTROLS, "kwp fault storing": kwp.DTC_SETTINGS, "kwp definitions": kwp.DEFINITION_MODES,
    "kwp identifications": kwp.IDENTIFICATIONS, "gmw operations": gmw3110.OPERATIONS,
    "gmw failure records": gmw3110.FAILURE_RECORDS, "gmw levels": gmw3110.SECURITY_LEVELS,
    "gmw transfers": gmw3110.TRANSFERS, "gmw modes": gmw3110.PROGRAMMING_MODES,
    "gmw states": gmw3110.PROGRAMMED_STATES, "gmw reports": gmw3110.FAULT_REPORTS, "gmw rates": gmw3110.PACKET_RATES,
    "gmw identifiers": gmw3110.IDENTIFIERS,
}  # fmt: skip


def test_there_is_one_table_of_each_kind_for_every_dialect() -> None:
    assert list(DIALECTS) == ["uds", "kwp2000", "gmw3110", "obd"]
    assert set(DIALECTS) == set(NRC_TABLES) == set(ECHOES_BY_DIALECT) == set(TRAITS)
    assert all(name == one.name == TRAITS[name].dialect for name, one in DIALECTS.items())


@pytest.mark.parametrize("dialect", KNOWN)
def test_every_first_byte_has_its_kind_in_every_dialect(dialect: str) -> None:
    services = DIALECTS[dialect].services
    assert list(services) == list(range(0x100))
    for sid in range(0x100):
        service = services[sid]
        assert (service.sid, bool(service.name)) == (sid, True)
        if sid in KNOWN[dialect]:
            assert service.kind is ServiceKind.KNOWN
        elif 0x01 <= sid <= 0x0F:
            assert service.kind is ServiceKind.OBD
        elif sid in (0x00, 0x3F) or sid & 0x40 or (dialect == "kwp2000" and sid == 0xBF):
            assert service.kind is ServiceKind.NOT_A_REQUEST
        elif dialect == "kwp2000" and 0xA0 <= sid <= 0xBE:
            assert service.kind is ServiceKind.MAKER
        else:
            assert service.kind is ServiceKind.RESERVED


@pytest.mark.parametrize("dialect", KNOWN)
def test_every_known_service_of_a_dialect_has_both_layouts_and_no_other_has(dialect: str) -> None:
    wanted = {*KNOWN[dialect], *OBD_SERVICES}
    assert set(DIALECTS[dialect].layouts) == {key(sid) for sid in wanted for key in (request, response)}


@pytest.mark.parametrize("dialect", DIALECTS)
def test_every_first_byte_decodes_in_every_dialect(dialect: str) -> None:
    read = DIALECTS[dialect]
    for sid in range(0x100):
        asked, answered = decode_request(bytes([sid]), dialect), decode_response(bytes([sid]), dialect)
        assert asked.kind is (Kind.REQUEST if request(sid) in read.layouts else Kind.UNKNOWN)
        known = response(sid - RESPONSE_OFFSET) in read.layouts
        wanted = Kind.NEGATIVE if sid == 0x7F else Kind.POSITIVE if known else Kind.UNKNOWN
        assert answered.kind is wanted
        if read.services[sid].kind is not ServiceKind.NOT_A_REQUEST:
            assert service_of_response(sid + RESPONSE_OFFSET, read.services) == sid


@pytest.mark.parametrize("dialect", DIALECTS)
def test_every_echo_is_a_field_of_request_and_response(dialect: str) -> None:
    """A name spelled wrong would match anything."""
    for sid, names in ECHOES_BY_DIALECT[dialect].items():
        for name in names:
            for first, decode in ((sid, decode_request), (sid + 0x40, decode_response)):
                messages = [bytes([first, second]) + bytes([1] * 8) for second in (0x01, 0x02, 0x11)]
                assert any(name in decode(message, dialect) for message in messages), (sid, name)


@pytest.mark.parametrize("name", EIGHT_BITS)
def test_every_byte_of_an_older_enumeration_has_an_entry(name: str) -> None:
    assert list(EIGHT_BITS[name]) == list(range(0x100))
    assert all(EIGHT_BITS[name][number].name for number in range(0x100))


@pytest.mark.parametrize("dialect", DIALECTS)
def test_every_negative_response_code_has_an_entry_in_every_dialect(dialect: str) -> None:
    table = nrcs(dialect)
    assert list(table) == list(range(0x100))
    for code in range(0x100):
        nrc = table[code]
        assert (nrc.code, bool(nrc.name), bool(nrc.meaning)) == (code, True, True)
        assert isinstance(nrc.group, NrcGroup)
    assert table[0].is_reserved
    not_final = {code for code in table if not table[code].is_final}
    assert not_final == {
        "uds": {0x21, 0x78, 0x94}, "kwp2000": {0x21, 0x23, 0x78}, "gmw3110": {0x78}, "obd": {0x21, 0x78, 0x94},
    }[dialect]  # fmt: skip


def test_the_named_codes_of_the_older_dialects_are_those_of_their_standards() -> None:
    def named(table: RangeTable) -> list[int]:
        return [code for code in table if not table[code].is_reserved]

    assert named(GMW3110_NRCS) == [
        0x11, 0x12, 0x22, 0x31, 0x35, 0x36, 0x37, 0x78, 0x81, 0x83, 0x85, 0x89, 0x99, 0xE3,
    ]  # fmt: skip
    assert named(KWP_NRCS) == [
        0x10, 0x11, 0x12, 0x21, 0x22, 0x23, 0x31, 0x33, 0x35, 0x36, 0x37, 0x40, 0x41, 0x42, 0x43, 0x50, 0x51, 0x52,
        0x53, 0x71, 0x72, 0x74, 0x75, 0x76, 0x77, 0x78, 0x79, 0x80, 0x9A, 0x9B, 0xA0, 0xA1,
    ]  # fmt: skip
    assert {code for code in OBD_NRCS if OBD_NRCS[code] != NRCS[code]} == {0x12, 0x22}


@pytest.mark.parametrize("dialect", DIALECTS)
def test_every_code_is_a_refusal_or_a_wait_of_its_dialect(dialect: str) -> None:
    for code in range(0x100):
        message = bytes([0x7F, 0x34, code])
        match = answers(b"\x34\x00\x10\x00", message, dialect)
        assert match.answer is (Answer.PENDING if code == 0x78 else Answer.NEGATIVE)
        assert is_pending(message, dialect) == (code == 0x78)
        if code != 0x78:
            assert match.is_final == nrcs(dialect)[code].is_final
        assert nrcs(dialect)[code].name in decode_response(message, dialect).text()


@pytest.mark.parametrize("dialect", ["kwp2000", "gmw3110"])
def test_bit_7_asks_for_silence_in_no_older_dialect(dialect: str) -> None:
    for sid in range(0x100):
        for second in range(0x80, 0x100):
            assert not is_suppressed(bytes([sid, second]), dialect)


def test_silence_is_asked_for_by_these_bytes_alone() -> None:
    asked = {
        dialect: {(sid, second) for sid in range(0x100) for second in range(0x100)
                  if is_suppressed(bytes([sid, second]), dialect)}
        for dialect in DIALECTS
    }  # fmt: skip
    assert asked["kwp2000"] == {(sid, 0x02) for sid in (0x28, 0x29, 0x3E, 0x85, 0x86)}
    assert asked["gmw3110"] == {(0xA5, 0x03)}
    assert asked["obd"] == set()
    assert {sid for sid, _ in asked["uds"]} == {
        0x10, 0x11, 0x19, 0x27, 0x28, 0x29, 0x2C, 0x31, 0x3E, 0x83, 0x85, 0x86, 0x87,
    }  # fmt: skip


def test_every_programmed_state_is_whole_lacking_faulty_or_reserved() -> None:
    for state in range(0x100):
        named = gmw3110.PROGRAMMED_STATES[state].name != "reserved"
        kinds = [state == gmw3110.FULLY_PROGRAMMED, gmw3110.lacks_parts(state), gmw3110.is_memory_fault(state)]
        assert sum(kinds) == named


def test_parameters_units_and_infotypes_are_well_formed() -> None:
    for number, known in PARAMETERS.items():
        assert 0 <= number <= 0xFF
        assert known.size in (1, 2, 4)
        for data in (bytes(known.size), b"\xff" * known.size, b"", bytes(known.size + 1)):
            assert known.text(data).startswith(known.name)
        assert known.formula is None or known.formula(b"\xff" * known.size) >= known.formula(bytes(known.size))
    assert sorted(INFOTYPES) == list(range(0x0C))
    assert all(unit.scale > 0 for unit in UNITS.values())
    assert CALIBRATION_SIZES == (16, 20)


def test_every_infotype_decodes_with_nothing_behind_it_and_with_much() -> None:
    for number in range(0x100):
        for tail in (b"", b"\x01", bytes(60), b"\xff" * 60):
            decoded = decode_response(bytes([0x49, number]) + tail, "obd")
            assert decoded["infotype"] == number
            assert sum(one.size for one in decoded.fields) + len(decoded.rest) == 2 + len(tail)


def test_every_identifier_of_obd_on_uds_reads_without_error() -> None:
    for did in range(0x10000):
        for record in (b"", b"\x01", bytes(8), bytes(17), bytes(33)):
            readings = obd.by_identifier(did, record)
            assert not readings or did >> 8 in (0xF4, 0xF6, 0xF8)
            assert all(0 <= one.at < len(record) for one in readings)
