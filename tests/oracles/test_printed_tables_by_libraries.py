"""What `canlog tables` prints beside udsoncan 1.26.1, scapy 2.8.0 and odxtools 11.7.1, read back from the page.

The tables themselves are compared in the other files here, with a reason for every difference. This file reads
what a person reads: a column exchanged or a row left out on the way to the page is seen only here.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Mapping

import pytest
from click.testing import CliRunner
from udsoncan import DataIdentifier, Routine, services

from analysis.cli import main

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from odxtools.uds import SID, NegativeResponseCodes
    from scapy.contrib.automotive import kwp as scapy_kwp
    from scapy.contrib.automotive.gm import gmlan
    from scapy.contrib.automotive.kwp import KWP
    from scapy.contrib.automotive.obd.services import OBD_NR
    from scapy.contrib.automotive.uds import UDS, UDS_DSC, UDS_ER, UDS_NR


def plain(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.lower())


def page(name: str) -> dict[int, dict[str, str]]:
    """Number -> column -> cell, as printed on a page wide enough for one line a row."""
    result = CliRunner(env={"COLUMNS": "400"}).invoke(main, ["tables", name])
    assert (result.exit_code, result.stderr) == (0, "")
    _, _, head, rule, *lines = result.stdout.splitlines()
    columns = [(match.start(), match.end()) for match in re.finditer("-+", rule)]
    titles = [head[first:last].strip() for first, last in columns]
    rows: dict[int, dict[str, str]] = {}
    for line in lines[: lines.index("")]:
        cells = dict(zip(titles, (line[first:last].strip() for first, last in columns), strict=True))
        first, _, last = cells[titles[0]].partition("-")
        rows |= dict.fromkeys(range(int(first, 16), int(last or first, 16) + 1), cells)
    return rows


def constants(cls: type) -> dict[int, str]:
    return {value: name for name, value in vars(cls).items() if isinstance(value, int) and not name.startswith("_")}


def requests(names: Mapping[int, str]) -> dict[int, str]:
    """Without the negative response and the answers, which scapy lists too."""
    return {sid: name for sid, name in names.items() if sid != 0x7F and not name.endswith("PositiveResponse")}


def their_services() -> dict[int, str]:
    found = [value for value in vars(services).values() if isinstance(value, type) and hasattr(value, "_sid")]
    return {one.request_id(): one.__name__ for one in found if one.__name__ != "BaseService"}


#: Table, library's numbers and names, rows that differ in spelling (each explained where the tables are compared).
NAMES = [
    pytest.param("services-uds", their_services(), set(), id="services-uds-udsoncan"),
    pytest.param("services-uds", requests(UDS.services), {0x2A}, id="services-uds-scapy"),
    pytest.param("services-kwp2000", requests(KWP.services), set(), id="services-kwp2000-scapy"),
    pytest.param("services-gmw3110", requests(gmlan.GMLAN.services), {0x20, 0xA2}, id="services-gmw3110-scapy"),
    pytest.param("nrc-uds", UDS_NR.negativeResponseCodes, {0x57, 0x8F}, id="nrc-uds-scapy"),
    pytest.param(
        "nrc-kwp2000", scapy_kwp.KWP_NR.negativeResponseCodes, {0x22, 0x33}, id="nrc-kwp2000-scapy"
    ),
    pytest.param("nrc-gmw3110", gmlan.GMLAN_NR.negativeResponseCodes, {0x12}, id="nrc-gmw3110-scapy"),
    pytest.param("nrc-obd", OBD_NR.responses, set(), id="nrc-obd-scapy"),
    pytest.param("sessions-kwp2000", scapy_kwp.KWP_SDS.diagnosticSessionTypes, set(), id="sessions-kwp2000-scapy"),
    pytest.param("resets-kwp2000", scapy_kwp.KWP_ER.resetModes, set(), id="resets-kwp2000-scapy"),
    pytest.param("programming-gmw3110", gmlan.GMLAN_PM.subfunctions, set(), id="programming-gmw3110-scapy"),
    pytest.param("sessions-uds", constants(services.DiagnosticSessionControl.Session), set(), id="sessions-udsoncan"),
    pytest.param("resets-uds", constants(services.ECUReset.ResetType), set(), id="resets-udsoncan"),
    pytest.param(
        "communication-uds", constants(services.CommunicationControl.ControlType), set(), id="communication-udsoncan"
    ),
]  # fmt: skip


@pytest.mark.parametrize(("table", "theirs", "spelled"), NAMES)
def test_the_page_names_what_the_library_names(table: str, theirs: Mapping[int, str], spelled: set[int]) -> None:
    printed = page(table)
    reserved = {number for number, name in theirs.items() if "reserved" in name.lower()}
    assert len(theirs) > len(reserved)
    different = {number for number in set(theirs) - reserved if plain(printed[number]["name"]) != plain(theirs[number])}
    assert different == spelled


@pytest.mark.parametrize("scapy_table", [UDS_DSC.diagnosticSessionTypes, UDS_ER.resetTypes])
def test_standard_sessions_and_resets_of_scapy_are_on_the_page(scapy_table: Mapping[int, str]) -> None:
    printed = page("sessions-uds" if scapy_table is UDS_DSC.diagnosticSessionTypes else "resets-uds")
    standard = [number for number, cells in printed.items() if cells["belongs to"] == "standard"]
    assert standard
    assert all(plain(printed[number]["name"]) == plain(scapy_table[number]) for number in standard)


@pytest.mark.parametrize("table", ["services-uds", "services-kwp2000", "services-gmw3110"])
def test_the_page_gives_the_answer_s_number_as_the_library_does(table: str) -> None:
    theirs = {"services-uds": UDS, "services-kwp2000": KWP, "services-gmw3110": gmlan.GMLAN}[table].services
    printed = page(table)
    answers = {sid for sid, name in theirs.items() if name.endswith("PositiveResponse")}
    assert answers
    for answer in answers:
        assert printed[answer - 0x40]["answer"] == f"{answer:02X}"


def test_the_page_marks_the_services_with_a_sub_function_as_udsoncan_does() -> None:
    printed = page("services-uds")
    built = {sid for sid in their_services() if sid not in (0x24, 0x2A, 0x84)}  # these it does not build
    by_number = {one.request_id(): one for one in vars(services).values() if hasattr(one, "_sid") and one._sid}
    assert {sid for sid in built if printed[sid]["sub-function"] == "yes"} == {
        sid for sid in built if by_number[sid].use_subfunction()
    }


def test_the_page_has_the_identifiers_that_udsoncan_names() -> None:
    printed, theirs = page("identifiers-uds"), constants(DataIdentifier)
    assert len(theirs) > 30
    # F18F had no name of its own in the edition of 2006 that udsoncan follows.
    assert {did for did, name in theirs.items() if plain(printed[did]["name"]) != plain(name)} == {0xF18F}


def test_the_page_has_the_routines_that_udsoncan_names() -> None:
    printed = page("routines-uds")
    for routine in (Routine.EraseMemory, Routine.CheckProgrammingDependencies):
        assert plain(printed[routine]["name"]) == plain(Routine.name_from_id(routine))


#: Odxtools shortens these names.
SHORTENED = {0x13, 0x14, 0x21, 0x22, 0x26, 0x36, 0x70, 0x78}


def test_the_page_has_the_services_and_codes_of_odxtools() -> None:
    services_printed, codes_printed = page("services-uds"), page("nrc-uds")
    for service in SID:
        assert services_printed[service.value]["answer"] == f"{service.value + 0x40:02X}"
    named = {code.value: code.name for code in NegativeResponseCodes}
    assert len(named) > 20
    assert {code for code, name in named.items() if plain(codes_printed[code]["name"]) != plain(name)} == SHORTENED
