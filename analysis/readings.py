"""Every value a module gave when asked: identifiers (22, also several at once; those of one byte in the older
dialects), OBD vehicle information (09).

Source: ISO 14229-1:2020, 11.2 (M); SAE J1979 service 09; ISO 14230-3 (M); GMW3110 1.6.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from analysis.exchanges import Exchange, Place
from analysis.story import Story
from canlog.names.blank import BLANK, is_blank
from canlog.names.dids import SERIAL_NUMBER, changes_with_software, is_tester_stamp
from canlog.names.tables import IdentifierName, Names
from canlog.names.value_layout import Value
from canlog.names.vin import check_vin
from canlog.names.vin import is_blank as is_blank_vin
from canlog.services.data import split_records
from canlog.services.dialects import GMW, KWP, UDS
from canlog.services.identifiers import (
    ONE_BYTE_VIN,
    READ_IDENTIFICATION,
    identifier_kind,
    identifier_name,
    identifier_text,
)
from canlog.services.traits import Act, identification_asked, identifier_asked, item_read, item_written

READ_BY_IDENTIFIER, OBD_INFO = 0x22, 0x09
OBD_CVN = 0xF806
#: OBD vehicle information that is identification: infotype -> (number in the F8xx range of UDS, title).
#: SAE J1979-2 (2021) gives service 09 infotype xx the identifier F8xx (M).
INFOTYPES = {0x02: "VIN", 0x04: "calibration identification", 0x06: "calibration verification number", 0x0A: "name"}

#: Identifications that begin with the number of records (ISO 14229-1:2020, annex C.1 (M)).
COUNTED = range(0xF180, 0xF183)
CALIBRATION_INFO = frozenset({0xF804, OBD_CVN})


@dataclass(frozen=True, slots=True)
class Reading:
    """One value read from one module."""

    exchange: Exchange
    identifier: int
    raw: bytes
    name: IdentifierName | None
    written_by_tester: bool = False

    @property
    def place(self) -> Place:
        """Where it was read."""
        return self.exchange.begin

    @property
    def key(self) -> tuple[int, int]:
        """What was read. KWP2000 has identification (1A) and local data (21) of the same numbers."""
        apart = self.exchange.dialect == KWP and self.exchange.service == READ_IDENTIFICATION
        return READ_IDENTIFICATION if apart else 0, self.identifier

    @property
    def part(self) -> str:
        """The downloadable part that names tie it to, or ""."""
        return (self.name.part or "") if self.name else ""

    @property
    def kind(self) -> str:
        """Kind by names, else by the standard's table."""
        if self.name is not None:
            return str(self.name.kind)
        return identifier_kind(self.identifier, self.exchange.dialect, self.exchange.service)

    @property
    def tells_software(self) -> bool:
        """It identifies software or calibration by the standard, or stands in the maker's identification range."""
        if self.name is not None and self.name.kind != "identification":
            return False
        return self.has_standard_meaning or 0xF1A0 <= self.identifier <= 0xF1EF or self._is_part_number()

    @property
    def has_standard_meaning(self) -> bool:
        """A standard says that it identifies software or calibration."""
        if self.exchange.dialect == GMW:
            return self._is_part_number()
        return tells_software(self.identifier) or self.identifier in CALIBRATION_INFO

    def _is_part_number(self) -> bool:
        """Identification of one byte that says which software or part this is."""
        return self.identifier <= 0xFF and identification_asked(self.exchange.told, self.exchange.dialect) is not None

    @property
    def text(self) -> str | None:
        """The value for people: by the names' layout, else as text where the bytes are text; None: in hex.

        A calibration verification number is a number, whatever letters its bytes look like.
        """
        if is_blank(self.raw) or (self.kind == "vin" and is_blank_vin(self.raw)):
            return BLANK
        if self.identifier == OBD_CVN:
            return None
        if self.name is not None and self.name.layout:
            return _values_text(self.name.decode(self.raw)) or None
        counted = COUNTED.start <= self.identifier < COUNTED.stop and len(self.raw) > 1 and self.raw[0] < 0x20
        text = self.raw[1 if counted else 0 :].strip(b"\0\xff ")
        return text.decode("ascii") if len(text) > 1 and all(0x20 <= byte < 0x7F for byte in text) else None

    @property
    def number(self) -> str:
        """What was asked for, as people write it."""
        return identifier_text(self.identifier, self.exchange.service)

    @property
    def title(self) -> str:
        """Identifier and name, for people."""
        return title_of(self.identifier, self.name, self.exchange.dialect, self.exchange.service, self.raw)


def _values_text(values: Sequence[Value]) -> str:
    """Values by name; those of a repeated field behind one name, with the unit said once."""
    fields: dict[str, list[Value]] = {}
    for one in values:
        fields.setdefault(one.name, []).append(one)
    texts = {}
    for name, group in fields.items():
        unit = group[0].unit
        bare = [one.text.removesuffix(f" {unit}") if unit else one.text for one in group]
        texts[name] = " ".join([*bare, unit] if unit else bare)
    if len(texts) == 1:
        return next(iter(texts.values()))
    return ", ".join(f"{name} {text}" for name, text in texts.items())


def is_vin_by_value(identifier: int, data: bytes, dialect: str, service: int) -> bool:
    """KWP2000: local data of the number that identification has for the VIN, and a well-formed VIN in it.

    That local data takes the numbers of identification is only usual; a VIN in it settles that.
    """
    is_local = dialect == KWP and service != READ_IDENTIFICATION and identifier == ONE_BYTE_VIN
    return is_local and check_vin(data).well_formed


def title_of(
    identifier: int, name: IdentifierName | None, dialect: str = UDS, service: int = 0, data: bytes = b""
) -> str:
    """``F190 (VIN)``: identifier and what it is called."""
    if name is None and is_vin_by_value(identifier, data, dialect, service):
        return f"{identifier_text(identifier, service)} (VIN)"
    called = name.name if name is not None else identifier_name(identifier, dialect, service)
    number = identifier_text(identifier, service)
    return f"{number} ({called})" if called else number


def said_identifiers(identifiers: Iterable[int]) -> str:
    """``4A10-4A16, 4A1F``."""
    pieces: list[list[int]] = []
    for identifier in sorted(set(identifiers)):
        if pieces and pieces[-1][-1] + 1 == identifier:
            pieces[-1].append(identifier)
        else:
            pieces.append([identifier])
    return ", ".join("-".join(identifier_text(one) for one in dict.fromkeys((run[0], run[-1]))) for run in pieces)


def tells_software(identifier: int) -> bool:
    """A standard identification that changes with the software, and that no tester writes."""
    return changes_with_software(identifier) and not is_tester_stamp(identifier)


def read_values(story: Story, names: Names) -> Iterator[Reading]:
    """All values read from a module, in order."""
    writes = (item_written(item.asked, item.dialect) for item in story.exchanges if item.act is Act.WRITE)
    written = {item.identifier for item in writes if item is not None}
    lengths: dict[int, int] = {}
    for exchange in story.exchanges:
        if not exchange.positive:
            continue
        for identifier, raw in _values(exchange, lengths):
            name = names.identifier(story.label, identifier)
            yield Reading(exchange, identifier, raw, name, identifier in written)


def serial_numbers(story: Story, readings: Iterable[Reading]) -> Iterator[Reading]:
    """Serial numbers that the application told, each where another one or another capture begins; none is blank."""
    last = (0, b"")
    for item in readings:
        is_serial = item.identifier == SERIAL_NUMBER and item.exchange.dialect == UDS and not is_blank(item.raw)
        if is_serial and not item.written_by_tester and not story.is_boot_loader(item.exchange):
            if (item.exchange.capture, item.raw) != last:
                yield item
            last = (item.exchange.capture, item.raw)


def read_values_of(exchange: Exchange, label: str, names: Names) -> Iterator[Reading]:
    """The values in one answer."""
    if exchange.positive:
        for identifier, raw in _values(exchange, {}):
            yield Reading(exchange, identifier, raw, names.identifier(label, identifier))


def _values(exchange: Exchange, lengths: dict[int, int]) -> Iterator[tuple[int, bytes]]:
    answer = exchange.answered
    if exchange.service == READ_BY_IDENTIFIER and exchange.act is Act.READ and len(answer) >= 3:
        asked = _asked_identifiers(exchange)
        if len(asked) == 1:
            lengths[asked[0]] = len(answer) - 3
            yield asked[0], answer[3:]
        else:
            yield from split_records(asked, answer[1:], lengths) or ()
    elif exchange.service == OBD_INFO:
        if len(answer) > 3 and answer[1] in INFOTYPES:
            yield 0xF800 | answer[1], answer[3:]
    elif exchange.act is Act.READ and (item := item_read(answer, exchange.dialect)) is not None:
        yield item.identifier, item.data


def identifiers_asked(exchange: Exchange) -> list[int]:
    """What a request for values asked for, whatever came back."""
    if exchange.service == READ_BY_IDENTIFIER and exchange.act is Act.READ:
        return _asked_identifiers(exchange)
    if exchange.service == OBD_INFO:
        return [0xF800 | infotype for infotype in exchange.told[1:2]]
    asked = identifier_asked(exchange.asked, exchange.dialect)
    return [] if asked is None else [asked]


def _asked_identifiers(exchange: Exchange) -> list[int]:
    source = exchange.asked[1:] if exchange.asked else exchange.answered[1:3]
    return [int.from_bytes(source[at : at + 2], "big") for at in range(0, len(source) - 1, 2)]
