"""The job sheet: what was meant to happen. TOML, our own shape; every mistake names file, line and field.

```toml
[vehicle]
vin = "…17 signs…"
[[module]]
label = "DUC"
link = "18DA2AF1:18DAF12A"
programming = { software = "…", calibration = "…", cvn = "3E690155" }
vin = "write"                       # or "read": only to be there
trims = [ { identifiers = "4A10-4A16, 4A1F", copied_from = "VBM" }, { identifier = "4C20", value = "FFF6" } ]
configuration = [ { identifier = "4D05", value = "141F0C8001005003" } ]
learn = [ "0340" ]
clear_faults = true
unit = "new"                        # or "kept": a new module, or the one from before
hardware = "…"                      # number the module should tell; another one is a finding
read_first = true                   # old values are to be read before anything is changed
```
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from canlog.errors import LinkError
from canlog.isotp.addressing import Link, parse_link
from canlog.names.sheet import Sheet, Table, hex_bytes, hex_range
from canlog.names.tables import ModuleName
from canlog.names.vin import is_well_formed

HINT = "README.md shows a job sheet"
ACTS = ("write", "read")
NEW, KEPT = UNITS = ("new", "kept")
PROGRAMMING_ITEMS = ("software", "calibration", "cvn")


@dataclass(frozen=True, slots=True)
class ValueAsked:
    """An identifier that is to hold a value, given or copied from another module."""

    identifier: int
    value: bytes | None
    copied_from: str  # label, or empty


@dataclass(frozen=True, slots=True)
class ModuleAsked:
    """What is to happen to one module."""

    label: str
    link: Link | None
    programming: tuple[tuple[str, str], ...] = ()  # item, value
    vin: str = ""  # write, read or empty
    trims: tuple[ValueAsked, ...] = ()
    configuration: tuple[ValueAsked, ...] = ()
    learn: tuple[int, ...] = ()
    clear_faults: bool = False
    # Circumstances of the job: findings rest on them, no item does.
    unit: str = ""  # new, kept or empty
    hardware: str = ""
    read_first: bool = False

    @property
    def called(self) -> str:
        """``PCU (7E0>7E8)``: by its label, and by its link where the sheet gives one."""
        return self.label if self.link is None else f"{self.label} ({self.link.key.removeprefix(':')})"


@dataclass(frozen=True, slots=True)
class JobSheet:
    """The whole sheet."""

    vin: str
    modules: tuple[ModuleAsked, ...]
    sha256: str

    def names(self) -> tuple[ModuleName, ...]:
        """Its modules as names, for labels."""
        return tuple(
            ModuleName(one.label, link_key=one.link.key.partition(":")[2], channel=one.link.channel)
            for one in self.modules
            if one.link is not None
        )

    def module(self, label: str) -> ModuleAsked | None:
        """A module by its label."""
        return next((one for one in self.modules if one.label == label), None)


def load_job_sheet(path: str | Path) -> JobSheet:
    """Read a job sheet.

    Raises:
        SheetError: it cannot be read, or a field is wrong.
    """
    sheet = Sheet(Path(path), HINT)
    sheet.only("vehicle", "module")
    vehicle = Table(sheet, "vehicle", _vehicle(sheet), sheet.line_of_key(0, "vehicle") or 1)
    vin = vehicle.text("vin", "")
    if vin and not is_well_formed(vin):
        vehicle.fail("vin", f"{vin!r} is not 17 capital letters and digits without I, O, Q")
    vehicle.finish()
    modules = tuple(_module(table) for table in sheet.tables("module"))
    _check_modules(sheet, vin, modules)
    _check_sources(sheet, modules)
    return JobSheet(vin, modules, hashlib.sha256(Path(path).read_bytes()).hexdigest())


def _vehicle(sheet: Sheet) -> dict[str, object]:
    found = sheet.values.get("vehicle", {})
    if not isinstance(found, dict):
        Table(sheet, "vehicle", {}, 1).fail("vehicle", "must be a table with vin")
    return dict(found)


def _module(table: Table) -> ModuleAsked:
    link = table.maybe("link", _link, "a link like 18DA2AF1:18DAF12A")
    programming = table.table("programming")
    asked = ModuleAsked(
        label=table.text("label"),
        link=link,
        programming=() if programming is None else _programming(programming),
        vin=table.choice("vin", ACTS, ""),
        trims=_values(table, "trims"),
        configuration=_values(table, "configuration"),
        learn=tuple(_routine(table, text) for text in table.texts("learn")),
        clear_faults=table.flag("clear_faults"),
        unit=table.choice("unit", UNITS, ""),
        hardware=table.text("hardware", ""),
        read_first=table.flag("read_first"),
    )
    table.finish()
    return asked


def _link(text: str) -> Link:
    try:
        return parse_link(text)
    except LinkError as error:
        raise ValueError(text) from error


def _programming(table: Table) -> tuple[tuple[str, str], ...]:
    found = tuple((item, table.text(item)) for item in PROGRAMMING_ITEMS if item in table.values)
    if "cvn" in table.values:
        table.read("cvn", hex_bytes, "bytes in hex")
    table.finish()
    return found


def _values(table: Table, key: str) -> tuple[ValueAsked, ...]:
    return tuple(value for row in table.tables(key) for value in _value(row))


def _value(row: Table) -> list[ValueAsked]:
    key = "identifiers" if "identifiers" in row.values else "identifier"
    text = row.text(key)
    value = row.maybe("value", hex_bytes, "bytes in hex")
    source = row.text("copied_from", "")
    if (value is None) == (not source):
        row.fail("value" if value is not None else key, "give either value or copied_from")
    row.finish()
    identifiers: list[int] = []
    for piece in text.split(","):
        try:
            first, last = hex_range(piece.strip())
        except ValueError:
            row.fail(
                key, f"{piece.strip()!r} is no identifier of 4 hex digits (2 for one byte) or range like 4A10-4A16"
            )
        identifiers += range(first, last + 1)
    return [ValueAsked(identifier, value, source) for identifier in identifiers]


def _routine(table: Table, text: str) -> int:
    try:
        return hex_range(text)[0]
    except ValueError:
        table.fail("learn", f"{text!r} is not a routine of 4 hex digits (2 where it is one byte)")


def _check_modules(sheet: Sheet, vin: str, modules: tuple[ModuleAsked, ...]) -> None:
    """A module is named once, and no VIN is asked for that the sheet does not give."""
    labels = [one.label for one in modules]
    for table, one in zip(sheet.tables("module"), modules, strict=True):
        if labels.count(one.label) > 1:
            table.fail("label", f"{one.label!r} is used twice")
        if one.vin and not vin:
            table.fail("vin", "asks for a VIN, and [vehicle] gives none")


def _check_sources(sheet: Sheet, modules: tuple[ModuleAsked, ...]) -> None:
    labels = {one.label for one in modules}
    for number, one in enumerate(modules):
        for asked in (*one.trims, *one.configuration):
            if asked.copied_from and asked.copied_from not in labels:
                table = sheet.tables("module")[number]
                table.fail("trims", f"copied_from {asked.copied_from!r} is no module of this sheet")
