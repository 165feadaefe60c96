"""The printed tables say what the program decodes with, no more and no less."""

import subprocess
import sys

import pytest

from canlog.errors import CanlogError
from canlog.names.dids import DIDS
from canlog.names.dtc import FAILURE_TYPES, STATUS_BITS
from canlog.names.nrc import NRC_TABLES
from canlog.names.obd import INFOTYPES, PARAMETERS, UNITS
from canlog.names.ranges import RangeTable
from canlog.names.rids import RIDS
from canlog.services import gmw3110, kwp, session
from canlog.services.decode import DIALECTS
from canlog.services.printed import TABLES, table_named, table_text
from canlog.services.table import ServiceKind
from canlog.services.traits import TRAITS


def expanded(name: str) -> dict[int, tuple[str, ...]]:
    """Number -> the other cells; a range stands for each of its numbers."""
    found = {}
    for span, *cells in TABLES[name].rows:
        first, _, last = span.partition("-")
        for number in range(int(first, 16), int(last or first, 16) + 1):
            assert number not in found, f"{name}: {number:X} twice"
            found[number] = tuple(cells)
    return found


@pytest.mark.parametrize("dialect", DIALECTS)
def test_the_printed_services_are_those_that_decode(dialect: str) -> None:
    printed = expanded(f"services-{dialect}")
    services = DIALECTS[dialect].services
    assert sorted(printed) == list(range(0x100))
    for sid, (answer, name, *_) in printed.items():
        assert name == services[sid].name
        known = services[sid].kind in (ServiceKind.KNOWN, ServiceKind.OBD) and "reserved" not in name
        assert answer == (f"{sid + 0x40:02X}" if known else "")


@pytest.mark.parametrize("dialect", DIALECTS)
def test_the_printed_codes_are_those_that_decode(dialect: str) -> None:
    printed = expanded(f"nrc-{dialect}")
    assert {code: cells[0] for code, cells in printed.items()} == {
        code: NRC_TABLES[dialect][code].name for code in range(0x100)
    }


@pytest.mark.parametrize(
    ("name", "table"),
    [
        ("identifiers-kwp2000", kwp.IDENTIFICATIONS),
        ("identifiers-gmw3110", gmw3110.IDENTIFIERS),
        ("routines-uds", RIDS),
        ("identifiers-uds", DIDS),
        ("sessions-uds", session.SESSIONS),
        ("sessions-kwp2000", kwp.SESSIONS),
        ("programming-gmw3110", gmw3110.PROGRAMMING_MODES),
        ("states-gmw3110", gmw3110.PROGRAMMED_STATES),
        ("resets-uds", session.RESETS),
        ("resets-kwp2000", kwp.RESETS),
        ("controls-kwp2000", kwp.IO_CONTROLS),
    ],
)
def test_the_printed_enumerations_are_whole(name: str, table: RangeTable) -> None:
    printed = expanded(name)
    assert len(printed) == len(table)
    for first, last, code in table.rows:
        assert printed[first][0] == printed[last][0] == code.name
        assert printed[first][-1] == code.owner.value


def test_the_printed_lists_have_a_row_for_each_entry() -> None:
    counts = {
        "status-bits": len(STATUS_BITS), "failure-types": len(FAILURE_TYPES), "parameters-obd": len(PARAMETERS),
        "infotypes-obd": len(INFOTYPES), "units-obd": len(UNITS), "fault-groups-kwp2000": len(kwp.DTC_GROUPS),
    }  # fmt: skip
    assert {name: len(TABLES[name].rows) for name in counts} == counts
    assert len(STATUS_BITS) == 8


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("services-uds", "2E 6E WriteDataByIdentifier"),
        ("services-gmw3110", "A2 E2 ReportProgrammedState"),
        ("services-kwp2000", "3B 7B WriteDataByLocalIdentifier"),
        ("services-obd", "0A 4A PermanentEmissionRelatedDTC"),
        ("nrc-uds", "72 generalProgrammingFailure"),
        ("nrc-gmw3110", "83 voltageOutOfRange"),
        ("nrc-kwp2000", "23 routineNotComplete"),
        ("identifiers-uds", "F190 VIN"),
        ("identifiers-gmw3110", "C1 softwareModuleIdentifier 01"),
        ("routines-uds", "FF01 checkProgrammingDependencies"),
        ("sessions-kwp2000", "85 programmingSession"),
        ("states-gmw3110", "54 flash memory fault"),
        ("parameters-obd", "10 mass air flow 2 g/s F410"),
        ("infotypes-obd", "04 calibration identifications F804"),
        ("status-bits", "3 08 confirmedDTC"),
        ("failure-types", "51 not programmed yes"),
        ("dialects", "end of transfer 37 37 - -"),
    ],
)
def test_a_row_that_people_look_up_is_printed(name: str, words: str) -> None:
    lines = [" ".join(line.split()) for line in table_text(name, 160).splitlines()]
    assert any(line.startswith(words) for line in lines)


@pytest.mark.parametrize("name", TABLES)
@pytest.mark.parametrize("width", [80, 100, 132])
def test_no_line_is_wider_than_the_page_and_no_word_is_lost(name: str, width: int) -> None:
    table, text = TABLES[name], table_text(name, width)
    assert all(len(line) <= width for line in text.splitlines())
    assert not any(line != line.rstrip() for line in text.splitlines())
    assert name in text
    assert table.source.split()[0] in text
    printed = "".join("".join(text.split()))
    for row in table.rows:
        for cell in row:
            for word in cell.split():
                assert word in printed or width < 132


def test_names_are_broken_only_on_a_page_too_narrow_for_them() -> None:
    assert "requestCorrectlyReceivedResponsePending" in table_text("nrc-uds", 100)
    assert table_text("nrc-uds", 60).count("\n") > table_text("nrc-uds", 100).count("\n")


@pytest.mark.parametrize(
    ("name", "hint"), [("nrc-usd", "nrc-uds"), ("services", "services-uds"), ("zzz", "dialects, services-uds")]
)
def test_a_name_that_is_none_is_a_line_with_a_hint(name: str, hint: str) -> None:
    with pytest.raises(CanlogError, match="no table") as refused:
        table_named(name)
    assert hint in refused.value.hint


def test_a_page_too_narrow_is_a_line_with_a_hint() -> None:
    with pytest.raises(CanlogError, match="too narrow") as refused:
        table_text("nrc-uds", 20)
    assert "give at least" in refused.value.hint
    least = int(refused.value.hint.rsplit(" ", 1)[1])
    assert table_text("nrc-uds", least)


def test_every_dialect_has_its_services_and_codes_to_print() -> None:
    for dialect in TRAITS:
        assert {f"services-{dialect}", f"nrc-{dialect}"} <= set(TABLES)
        assert dialect in TABLES["dialects"].columns
    assert all(len(row) == len(table.columns) for table in TABLES.values() for row in table.rows)


def test_tables_and_judgement_import_without_the_heavy_libraries() -> None:
    code = (
        "import sys, canlog.services.printed, canlog.services.dialects; "
        "print(sorted({'numpy', 'pandas', 'can', 'scapy'} & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
