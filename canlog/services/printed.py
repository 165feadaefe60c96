"""The tables that people look up, as the program itself uses them: to print, and for the manual.

Nothing is written here twice: every row comes from the table that decodes.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Final

from canlog.column_widths import fit_widths
from canlog.errors import CanlogError
from canlog.names.dids import DIDS, IDENTIFICATIONS, PLAIN
from canlog.names.dtc import FAILURE_TYPES, PROGRAMMING_FAILURE_TYPES, STATUS_BITS
from canlog.names.nrc import NRC_TABLES, Nrc
from canlog.names.obd import INFOTYPES, PARAMETERS, UNITS
from canlog.names.ranges import Code, RangeTable
from canlog.names.rids import RIDS
from canlog.services import communication, gmw3110, kwp, session
from canlog.services.decode import DIALECTS
from canlog.services.table import RESPONSE_OFFSET, Service, ServiceKind
from canlog.services.traits import TRAITS, DialectTraits

Row = tuple[str, ...]

#: No column becomes narrower than this, whatever the page.
NARROWEST: Final = 8
_GAP: Final = "  "


@dataclass(frozen=True, slots=True)
class Table:
    """A table to print. ``source`` names where its content comes from."""

    title: str
    columns: Row
    rows: tuple[Row, ...]
    source: str


_UDS_SOURCE: Final = "ISO 14229-1:2020 (M), udsoncan 1.26.1, scapy 2.8.0"
_KWP_SOURCE: Final = "ISO 14230-3 (M), scapy 2.8.0"
_GMW_SOURCE: Final = "GMW3110 1.6 (M), scapy 2.8.0"
_OBD_SOURCE: Final = "SAE J1979 (M), public parameter tables, scapy 2.8.0"
_SOURCES: Final = {"uds": _UDS_SOURCE, "kwp2000": _KWP_SOURCE, "gmw3110": _GMW_SOURCE, "obd": _OBD_SOURCE}


def _span(first: int, last: int, digits: int) -> str:
    return f"{first:0{digits}X}" if first == last else f"{first:0{digits}X}-{last:0{digits}X}"


def _runs(rows: Iterable[tuple[int, int, Row]]) -> Iterator[tuple[int, int, Row]]:
    """Neighbours that say the same become one range."""
    run: tuple[int, int, Row] | None = None
    for first, last, said in rows:
        if run is not None and run[2] == said and run[1] + 1 == first:
            run = (run[0], last, said)
            continue
        if run is not None:
            yield run
        run = (first, last, said)
    if run is not None:
        yield run


def _ranges(table: Iterable[tuple[int, int, Row]], digits: int = 2) -> tuple[Row, ...]:
    return tuple((_span(first, last, digits), *said) for first, last, said in _runs(table))


def _service(service: Service) -> Row:
    answer = "" if service.kind is ServiceKind.NOT_A_REQUEST else f"{service.sid + RESPONSE_OFFSET:02X}"
    named = service.kind is ServiceKind.KNOWN or (service.kind is ServiceKind.OBD and "reserved" not in service.name)
    return (answer if named else "", service.name, "yes" if service.has_sub_function else "")


def _services(dialect: str) -> Table:
    read = DIALECTS[dialect]
    rows = _ranges((sid, sid, _service(read.services[sid])) for sid in read.services)
    columns: Row = ("request", "answer", "name", "sub-function")
    if not any(row[-1] for row in rows):
        columns, rows = columns[:-1], tuple(row[:-1] for row in rows)
    return Table(f"Services of {TRAITS[dialect].title}", columns, rows, _SOURCES[dialect])


def _nrc(nrc: Nrc) -> Row:
    return (nrc.name, nrc.meaning, nrc.workshop_cause)


def _nrcs(dialect: str) -> Table:
    table = NRC_TABLES[dialect]
    return Table(
        f"Negative response codes of {TRAITS[dialect].title}",
        ("code", "name", "meaning", "look here first (common practice, no source)"),
        _ranges((code, code, _nrc(table[code])) for code in table),
        _SOURCES[dialect],
    )


def _codes(title: str, table: RangeTable[Code], source: str, digits: int = 2) -> Table:
    rows = _ranges(((first, last, (code.name, code.owner.value)) for first, last, code in table.rows), digits)
    return Table(title, ("value", "name", "belongs to"), rows, source)


def _identifiers() -> Table:
    def said(first: int, code: Code) -> Row:
        known = IDENTIFICATIONS.get(first)
        return (code.name, PLAIN.get(first, ""), known.encoding if known else "", code.owner.value)

    return Table(
        "Data identifiers of UDS (ISO 14229-1)",
        ("identifier", "name", "plain name", "usual form", "belongs to"),
        _ranges(((first, last, said(first, code)) for first, last, code in DIDS.rows), 4),
        _UDS_SOURCE,
    )


def _parameters() -> Table:
    rows = tuple(
        (f"{number:02X}", known.name, str(known.size), known.unit, f"F4{number:02X}")
        for number, known in sorted(PARAMETERS.items())
    )
    return Table(
        "Parameters of services 01 and 02 (SAE J1979)",
        ("parameter", "name", "bytes", "unit", "in UDS"),
        rows,
        _OBD_SOURCE,
    )


def _infotypes() -> Table:
    rows = tuple((f"{number:02X}", name, f"F8{number:02X}") for number, name in sorted(INFOTYPES.items()))
    return Table("Infotypes of service 09 (SAE J1979)", ("infotype", "name", "in UDS"), rows, _OBD_SOURCE)


def _units() -> Table:
    rows = tuple(
        (f"{number:02X}", f"{unit.scale:g}", f"{unit.offset:g}", unit.unit, "yes" if number >= 0x80 else "")
        for number, unit in sorted(UNITS.items())
    )
    return Table(
        "Units and scalings of monitor results (service 06, SAE J1979)",
        ("identifier", "factor", "offset", "unit", "signed"),
        rows,
        _OBD_SOURCE,
    )


def _status_bits() -> Table:
    rows = tuple((str(bit), f"{1 << bit:02X}", name) for bit, name in enumerate(STATUS_BITS))
    return Table("Status byte of a fault (UDS)", ("bit", "mask", "name"), rows, _UDS_SOURCE)


def _failure_types() -> Table:
    rows = tuple(
        (f"{code:02X}", meaning, "yes" if code in PROGRAMMING_FAILURE_TYPES else "")
        for code, meaning in sorted(FAILURE_TYPES.items())
    )
    return Table(
        "Failure types: the third byte of a fault code (part of the list)",
        ("type", "meaning", "programming not finished"),
        rows,
        "SAE J2012-DA (M)",
    )


def _fault_groups() -> Table:
    rows = tuple((f"{group:04X}", name) for group, name in kwp.DTC_GROUPS.items())
    return Table("Groups of faults (KWP2000)", ("group", "name"), rows, _KWP_SOURCE)


def _forms(forms: Iterable[bytes]) -> str:
    return " or ".join(form.hex(" ").upper() for form in forms) or "-"


def _sids(services: Iterable[int | None]) -> str:
    return " ".join(f"{service:02X}" for service in services if service is not None) or "-"


def _dialects() -> Table:
    def steps(traits: DialectTraits) -> str:
        return ", then ".join(_forms(step) for step in traits.programming_steps) or "-"

    asked: tuple[tuple[str, Callable[[DialectTraits], str]], ...] = (
        ("download", lambda traits: _sids([traits.download])),
        ("end of transfer", lambda traits: _sids([traits.transfer_end])),
        ("upload, file", lambda traits: _sids([traits.upload, traits.file_transfer])),
        ("block counter", lambda traits: traits.block_counter.value if traits.download else "-"),
        ("address in", lambda traits: traits.address_in.value if traits.download else "-"),
        ("erase", lambda traits: traits.erase_said),
        ("write", lambda traits: _sids(traits.writes)),
        ("read", lambda traits: _sids(traits.reads)),
        ("read the VIN", lambda traits: _forms(traits.reads_vin)),
        ("read faults", lambda traits: _sids(traits.fault_reads)),
        ("clear faults", lambda traits: _sids(traits.clears)),
        ("unlock", lambda traits: _sids([traits.unlock])),
        ("enter programming", steps),
        ("leave it", lambda traits: _forms(traits.returns_to_normal)),
        ("tester present", lambda traits: _forms(traits.tester_present)),
        ("reset", lambda traits: _sids([traits.reset])),
        ("report of the state", lambda traits: _sids([traits.programmed_state])),
        ("proof of a download", lambda traits: "; ".join(traits.proves_download) or "-"),
    )
    rows = tuple((name, *(said(traits) for traits in TRAITS.values())) for name, said in asked)
    return Table(
        "What differs between the dialects", ("", *TRAITS), rows, f"{_UDS_SOURCE}; {_KWP_SOURCE}; {_GMW_SOURCE}"
    )


#: Name to print by -> table.
TABLES: Final[dict[str, Table]] = {
    "dialects": _dialects(),
    **{f"services-{dialect}": _services(dialect) for dialect in DIALECTS},
    **{f"nrc-{dialect}": _nrcs(dialect) for dialect in DIALECTS},
    "identifiers-uds": _identifiers(),
    "identifiers-kwp2000": _codes("What 1A reads in KWP2000", kwp.IDENTIFICATIONS, _KWP_SOURCE),
    "identifiers-gmw3110": _codes("What 1A reads and 3B writes in GMW3110", gmw3110.IDENTIFIERS, _GMW_SOURCE),
    "routines-uds": _codes("Routine identifiers of UDS (ISO 14229-1)", RIDS, _UDS_SOURCE, 4),
    "sessions-uds": _codes("Sessions of UDS (service 10)", session.SESSIONS, _UDS_SOURCE),
    "sessions-kwp2000": _codes("Sessions of KWP2000 (service 10)", kwp.SESSIONS, _KWP_SOURCE),
    "programming-gmw3110": _codes("Programming mode of GMW3110 (service A5)", gmw3110.PROGRAMMING_MODES, _GMW_SOURCE),
    "states-gmw3110": _codes("Programmed states of GMW3110 (service A2)", gmw3110.PROGRAMMED_STATES, _GMW_SOURCE),
    "resets-uds": _codes("Resets of UDS (service 11)", session.RESETS, _UDS_SOURCE),
    "resets-kwp2000": _codes("Resets of KWP2000 (service 11)", kwp.RESETS, _KWP_SOURCE),
    "communication-uds": _codes(
        "Communication control of UDS (service 28)", communication.COMMUNICATION_CONTROLS, _UDS_SOURCE
    ),
    "controls-kwp2000": _codes("Input and output control of KWP2000 (service 30)", kwp.IO_CONTROLS, _KWP_SOURCE),
    "fault-groups-kwp2000": _fault_groups(),
    "parameters-obd": _parameters(),
    "infotypes-obd": _infotypes(),
    "units-obd": _units(),
    "status-bits": _status_bits(),
    "failure-types": _failure_types(),
}


def table_named(name: str) -> Table:
    """The table of that name.

    Raises:
        CanlogError: no such table; the hint names those that come close.
    """
    if name not in TABLES:
        near = get_close_matches(name, TABLES, n=3, cutoff=0.4) or [one for one in TABLES if one.startswith(name)]
        raise CanlogError(f"no table {name!r}", hint=f"there are {', '.join(near or TABLES)}")
    return TABLES[name]


def title_text(name: str) -> str:
    """The line above a table."""
    return f"{table_named(name).title} ({name})"


def source_text(table: Table) -> str:
    """The line below a table."""
    return f"Source: {table.source}. (M): from memory of the standard."


def table_text(name: str, width: int = 80) -> str:
    """A table as plain text, title first and source last; cells are wrapped, no line is longer than ``width``.

    Raises:
        CanlogError: no such table, or a page too narrow for its columns.
    """
    table = table_named(name)
    widths = _widths([table.columns, *table.rows], width)
    lines = [*textwrap.wrap(title_text(name), width, break_on_hyphens=False), ""]
    lines += _printed(table.columns, widths)
    lines.append(_GAP.join("-" * column for column in widths))
    for row in table.rows:
        lines += _printed(row, widths)
    lines += ["", *textwrap.wrap(source_text(table), width)]
    return "\n".join(lines) + "\n"


def _widths(rows: Sequence[Row], width: int) -> list[int]:
    """Widths of the columns of a page."""
    space = width - len(_GAP) * (len(rows[0]) - 1)
    widths = fit_widths(rows, space, NARROWEST)
    if sum(widths) > space:
        raise CanlogError(
            f"a page of {width} characters is too narrow", hint=f"give at least {width + sum(widths) - space}"
        )
    return widths


def _printed(row: Row, widths: Sequence[int]) -> Iterator[str]:
    """The lines of one row."""
    cells = [textwrap.wrap(cell, column) or [""] for cell, column in zip(row, widths, strict=True)]
    for at in range(max(len(cell) for cell in cells)):
        parts = [(cell[at] if at < len(cell) else "").ljust(column) for cell, column in zip(cells, widths, strict=True)]
        yield _GAP.join(parts).rstrip()
