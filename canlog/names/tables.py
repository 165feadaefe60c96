"""The user's own names: what a maker's identifiers, routines and parts mean. TOML, schema ``names.schema.json``.

Nothing of a maker is built in. What a names file does not say stays hex, and no verdict rests on a guess.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Final, NamedTuple

from canlog.errors import LinkError
from canlog.isotp.addressing import parse_link
from canlog.names.blank import BLANK, is_blank
from canlog.names.code_names import FaultName, RefusalName, read_fault, read_refusal
from canlog.names.sheet import Sheet, Table, hex_bytes, hex_number, hex_range
from canlog.names.signals import SignalName
from canlog.names.value_layout import NUMBER_TYPES, TEXT_TYPES, Value, ValueField, compared, decode_values

HINT: Final = "the shape of a names file is in canlog/names/names.schema.json"


class IdentifierKind(StrEnum):
    """What an identifier holds."""

    TRIM = "trim"
    CONFIGURATION = "configuration"
    VIN = "vin"
    IDENTIFICATION = "identification"
    FINGERPRINT = "fingerprint"
    SUPPLY = "supply"
    LEARNED = "learned"
    OTHER = "other"


class RoutineKind(StrEnum):
    """What a routine does."""

    ERASE = "erase"
    CHECK = "check"
    DEPENDENCIES = "dependencies"
    LEARN = "learn"
    OTHER = "other"
    UNSAID = ""  # the file does not say: the standard alone counts


class StatusWord(StrEnum):
    """What a status byte of a routine says."""

    GOOD = "good"
    BAD = "bad"
    RUNNING = "running"
    SAYS = "says"  # only what it is called: whether that is good nothing says


class CanId(NamedTuple):
    """An id and whether it has 29 bits."""

    number: int
    extended: bool


@dataclass(frozen=True, slots=True)
class StartMessage:
    """A message sent once at start, whose byte tells boot loader from application."""

    can_id: CanId
    byte: int
    boot: int
    application: int


@dataclass(frozen=True, slots=True)
class ModuleName:
    """A module: ``link_key`` is the link without a channel (``18DA2AF1>18DAF12A``), ``channel`` empty for any."""

    label: str
    name: str = ""
    link_key: str = ""
    channel: str = ""
    start_message: StartMessage | None = None
    cyclic: tuple[CanId, ...] = ()  # ids that only the application sends
    gateway: bool = False  # other modules are reached through it
    file: str = ""  # the names file; empty where it comes from elsewhere


@dataclass(frozen=True, slots=True)
class PartName:
    """A part that can be downloaded; ``driver``: a helper program in RAM, not a part that stays."""

    modules: tuple[str, ...]
    name: str
    address: int | None = None
    size: int | None = None
    driver: bool = False
    block: bytes | None = None  # how routines name it in their option record

    def holds(self, address: int) -> bool:
        """True where a download to ``address`` is one of this part."""
        if self.address is None:
            return False
        return self.address == address or (self.size is not None and 0 <= address - self.address < self.size)


@dataclass(frozen=True, slots=True)
class IdentifierName:
    """An identifier, or a run of alike ones, of some modules (of all when ``modules`` is empty)."""

    first: int
    last: int
    name: str
    modules: tuple[str, ...] = ()
    kind: IdentifierKind = IdentifierKind.OTHER
    part: str = ""
    layout: tuple[ValueField, ...] = ()
    default: str = ""  # hex with ? as any nibble; * at the end repeats the last byte
    stored_at_power_down: bool = False
    order: tuple[int, ...] = ()  # firing order
    described: bool = False  # by a maker's description: what a person wrote wins over it

    @property
    def size(self) -> int | None:
        """Bytes of a record; None without a layout."""
        return sum(one.total for one in self.layout) if self.layout else None

    def covers(self, did: int) -> bool:
        """True for an identifier of this run."""
        return self.first <= did <= self.last

    def number_of(self, did: int) -> int | None:
        """The place within a run, from 1; None for a single identifier."""
        return None if self.first == self.last else did - self.first + 1

    def decode(self, data: bytes) -> tuple[Value, ...]:
        """The values of a record; never raises on content. Without a layout one value, the bytes as hex.

        A blank record is one value that says so and is none, whatever the layout.
        """
        if self.layout and self.is_blank(data):
            return (Value("record", None, data, None, "", BLANK, None),)
        return decode_values(self.layout, data)

    def equal_ignoring(self, one: bytes, other: bytes) -> bool:
        """True where two records say the same, fields marked ``ignore`` (counters, dates) left out."""
        return len(one) == len(other) and compared(self.layout, one) == compared(self.layout, other)

    def is_blank(self, data: bytes) -> bool:
        """True where nothing but FF is in it, or nothing else behind the head that the default pattern gives."""
        return is_blank(data) or (self.default.endswith("FF*") and self.is_default(data))

    def is_default(self, data: bytes) -> bool:
        """True where the record is the pattern of a module that was never given one; False without a pattern."""
        return bool(self.default) and fits_pattern(self.default, data)


class StatusMeaning(NamedTuple):
    """What a routine's status says, in the user's words."""

    word: StatusWord
    text: str


@dataclass(frozen=True, slots=True)
class RoutineName:
    """A routine of some modules (of all when ``modules`` is empty)."""

    first: int
    last: int
    name: str
    modules: tuple[str, ...] = ()
    kind: RoutineKind = RoutineKind.OTHER
    status: tuple[tuple[bytes, StatusMeaning], ...] = ()
    has_result: bool = False  # a result is to be asked with 31 03
    caution: str = ""
    described: bool = False  # as of an identifier

    def covers(self, rid: int) -> bool:
        """True for a routine of this run."""
        return self.first <= rid <= self.last

    def judge(self, status_record: bytes) -> StatusMeaning | None:
        """What the status says: the longest status named that the record begins with; None when none does.

        A mere text counts only where nothing says whether the status is good.
        """
        fitting = [
            ((meaning.word is not StatusWord.SAYS, len(key)), meaning)
            for key, meaning in self.status
            if status_record.startswith(key)
        ]
        return max(fitting, key=lambda pair: pair[0])[1] if fitting else None


Numbered = IdentifierName | RoutineName


@dataclass(frozen=True, slots=True)
class Names:
    """The names of one or several files. A later file wins over an earlier one, a module's own over a general."""

    modules: tuple[ModuleName, ...] = ()
    all_parts: tuple[PartName, ...] = ()
    identifiers: tuple[IdentifierName, ...] = ()
    routines: tuple[RoutineName, ...] = ()
    files: tuple[str, ...] = ()
    signals: tuple[SignalName, ...] = ()  # of cyclic messages
    faults: tuple[FaultName, ...] = ()
    refusals: tuple[RefusalName, ...] = ()
    is_description: bool = False  # from a maker's description: what a person wrote wins over it

    def merge(self, later: Names) -> Names:
        """Both together; ``later`` wins where both name the same."""
        return Names(
            self.modules + later.modules, self.all_parts + later.all_parts,
            self.identifiers + later.identifiers, self.routines + later.routines, self.files + later.files,
            self.signals + later.signals, self.faults + later.faults, self.refusals + later.refusals,
        )  # fmt: skip

    def module(self, label: str) -> ModuleName | None:
        """The module of that label."""
        return next((one for one in reversed(self.modules) if one.label == label), None)

    def label_of(self, link_key: str) -> str | None:
        """The label of a link, given as ``18DA2AF1>18DAF12A``; a channel in front is compared where both have one."""
        try:
            link = parse_link(link_key)
        except LinkError:
            return None
        key = link.key.partition(":")[2]
        for one in reversed(self.modules):
            if one.link_key == key and (not one.channel or not link.channel or one.channel == link.channel):
                return one.label
        return None

    def identifier(self, label: str | None, did: int) -> IdentifierName | None:
        """What an identifier is in a module (None: a module without a label, so only names for all modules)."""
        fitting = [one for one in reversed(self.identifiers) if one.covers(did) and _is_for(one.modules, label)]
        return max(fitting, key=_weight, default=None)

    def routine(self, label: str | None, rid: int) -> RoutineName | None:
        """What a routine is in a module; as :meth:`identifier`. What others call a status is kept beside its own."""
        fitting = [one for one in reversed(self.routines) if one.covers(rid) and _is_for(one.modules, label)]
        best = max(fitting, key=_weight, default=None)
        if best is None or len(fitting) == 1:
            return best
        others = [pair for one in fitting if one is not best for pair in one.status]
        return replace(best, status=(*best.status, *(pair for pair in others if pair[1].word is StatusWord.SAYS)))

    def fault(self, label: str | None, code: str) -> str:
        """What a fault code (``P0143-16``) is called in a module; empty where nothing says. The closest name wins."""
        fitting = [one for one in reversed(self.faults) if one.covers(code) and _is_for(one.modules, label)]
        best = max(fitting, key=lambda one: (*_weight(one), len(one.code)), default=None)
        return best.name if best is not None else ""

    def refusal(self, label: str | None, request: bytes, code: int) -> str:
        """What a refusal of a request means in a module; empty where nothing says. The longest beginning wins."""
        fitting = [
            one
            for one in reversed(self.refusals)
            if one.code == code and request.startswith(one.request) and _is_for(one.modules, label)
        ]
        best = max(fitting, key=lambda one: (*_weight(one), len(one.request)), default=None)
        return best.text if best is not None else ""

    def parts(self, label: str | None) -> tuple[PartName, ...]:
        """The parts of a module that can be downloaded, those named for all modules included."""
        return tuple(one for one in self.all_parts if _is_for(one.modules, label))

    def part_at(self, label: str | None, address: int) -> PartName | None:
        """The part that a download to ``address`` is one of."""
        return next((one for one in reversed(self.parts(label)) if one.holds(address)), None)

    def loose_ends(self) -> tuple[str, ...]:
        """Labels and parts that are mentioned but nowhere described: likely misspelt."""
        labels = {one.label for one in self.modules}
        parts = {one.name for one in self.all_parts}
        mentioned = [(one.modules, one.name) for one in self.identifiers]
        mentioned += [(one.modules, one.name) for one in self.routines]
        mentioned += [(one.modules, one.name) for one in self.all_parts]
        mentioned += [(one.modules, one.name) for one in self.faults]
        mentioned += [(one.modules, one.text) for one in self.refusals]
        loose = [
            f"{name}: no module {label!r}" for wanted, name in mentioned for label in wanted if label not in labels
        ]
        loose += [f"{one.name}: no part {one.part!r}" for one in self.identifiers if one.part and one.part not in parts]
        return tuple(loose)


def _is_for(modules: tuple[str, ...], label: str | None) -> bool:
    return not modules or label in modules


def _weight(one: Numbered | FaultName | RefusalName) -> tuple[bool, bool]:
    """A person's word first, then a module's own."""
    return not one.described, bool(one.modules)


def fits_pattern(pattern: str, data: bytes) -> bool:
    """True where ``data`` is what a default pattern (see ``IdentifierName.default``) describes."""
    repeated = pattern.endswith("*")
    nibbles = pattern.removesuffix("*")
    if repeated:
        nibbles += nibbles[-2:] * (len(data) - len(nibbles) // 2)
    digits = data.hex().upper()
    return len(digits) == len(nibbles) and all(want in ("?", have) for want, have in zip(nibbles, digits, strict=True))


def load_names(path: str | Path) -> Names:
    """The names of a TOML file.

    Raises:
        SheetError: the file cannot be read, or a field is wrong; names file, line and field.
    """
    sheet = Sheet(Path(path), HINT)
    sheet.only("module", "part", "identifier", "routine", "fault", "refusal")
    names = Names(
        modules=tuple(_module(table) for table in sheet.tables("module")),
        all_parts=tuple(_part(table) for table in sheet.tables("part")),
        identifiers=tuple(_identifier(table) for table in sheet.tables("identifier")),
        routines=tuple(_routine(table) for table in sheet.tables("routine")),
        files=(str(path),),
        faults=tuple(read_fault(table) for table in sheet.tables("fault")),
        refusals=tuple(read_refusal(table) for table in sheet.tables("refusal")),
    )
    labels = [one.label for one in names.modules]
    for table in sheet.tables("module"):
        if labels.count(table.values["label"]) > 1:
            table.fail("label", f"{table.values['label']!r} is used twice")
    return names


def _module(table: Table) -> ModuleName:
    link = table.maybe("link", _link, "a link like 18DA2AF1:18DAF12A")
    channel, link_key = link or ("", "")
    start = table.table("start_message")
    module = ModuleName(
        label=table.text("label"),
        name=table.text("name", ""),
        link_key=link_key,
        channel=channel,
        start_message=None if start is None else _start_message(start),
        cyclic=_can_ids(table),
        gateway=table.flag("gateway"),
        file=str(table.sheet.path),
    )
    table.finish()
    return module


def _start_message(table: Table) -> StartMessage:
    message = StartMessage(
        can_id=table.read("id", can_id, "an id of 3 or 8 hex digits"),
        byte=table.whole("byte", 0, 63),
        boot=table.read("boot", _one_byte, "one byte in hex"),
        application=table.read("application", _one_byte, "one byte in hex"),
    )
    if message.boot == message.application:
        table.fail("application", "is the same as boot")
    table.finish()
    return message


def _can_ids(table: Table) -> tuple[CanId, ...]:
    try:
        return tuple(can_id(text) for text in table.texts("cyclic"))
    except ValueError:
        table.fail("cyclic", "must be ids of 3 or 8 hex digits")


def _part(table: Table) -> PartName:
    part = PartName(
        modules=table.texts("modules"),
        name=table.text("name"),
        address=table.maybe("address", hex_number, "an address in hex"),
        size=table.maybe("size", hex_number, "a size in hex"),
        driver=table.flag("driver"),
        block=table.maybe("block", hex_bytes, "bytes in hex"),
    )
    table.finish()
    return part


def _identifier(table: Table) -> IdentifierName:
    first, last = table.read(
        "id", hex_range, "an identifier of 4 hex digits (2 where it is one byte) or a range like 4A10-4A16"
    )
    identifier = IdentifierName(
        first=first,
        last=last,
        name=table.text("name"),
        modules=table.texts("modules"),
        kind=IdentifierKind(table.choice("kind", list(IdentifierKind), "other")),
        part=table.text("part", ""),
        layout=tuple(_value_field(one) for one in table.tables("layout")),
        default=table.maybe("default", _pattern, "hex with ? for any nibble and * at the end for repeat") or "",
        stored_at_power_down=table.flag("stored_at_power_down"),
        order=table.maybe("order", _order, "an order like 1-3-4-2") or (),
    )
    table.finish()
    return identifier


def _value_field(table: Table) -> ValueField:
    kind = table.choice("type", [*NUMBER_TYPES, *TEXT_TYPES])
    is_number = kind in NUMBER_TYPES
    reading = partial(
        ValueField,
        name=table.text("name"),
        type=kind,
        size=NUMBER_TYPES[kind] if is_number else table.whole("bytes", 1, 4095),
        count=table.whole("count", 1, 4095, 1),
        ignore=table.flag("ignore"),
    )
    one = reading()
    if is_number:  # a text has no byte order, scale, offset, unit or range: such a field is refused below
        one = reading(
            little_endian=table.choice("endian", ["big", "little"], "big") == "little",
            scale=table.decimal("scale", 1),
            offset=table.decimal("offset", 0),
            unit=table.text("unit", ""),
            range=table.numbers("range"),
        )
    table.finish()
    return one


def _routine(table: Table) -> RoutineName:
    first, last = table.read("id", hex_range, "a routine of 4 hex digits (2 where it is one byte) or a range")
    routine = RoutineName(
        first=first,
        last=last,
        name=table.text("name"),
        modules=table.texts("modules"),
        kind=RoutineKind(table.choice("kind", [kind for kind in RoutineKind if kind], "other")),
        status=tuple(_status(table, key, text) for key, text in table.pairs("status").items()),
        has_result=table.flag("has_result"),
        caution=table.text("caution", ""),
    )
    table.finish()
    return routine


def _status(table: Table, key: str, text: str) -> tuple[bytes, StatusMeaning]:
    word, _, more = text.partition(":")
    if word.strip() not in list(StatusWord):
        table.fail("status", f"{text!r} does not begin with good, bad, running or says and a colon")
    try:
        return hex_bytes(key), StatusMeaning(StatusWord(word.strip()), more.strip())
    except ValueError:
        table.fail("status", f"{key!r} is not bytes in hex")


def _link(text: str) -> tuple[str, str]:
    """Channel and key without channel."""
    try:
        link = parse_link(text)
    except LinkError as error:
        raise ValueError(text) from error
    return link.channel, link.key.partition(":")[2]


def can_id(text: str) -> CanId:
    """An id of 3 (11 bit) or 8 (29 bit) hex digits.

    Raises:
        ValueError: anything else.
    """
    if len(text) not in (3, 8):
        raise ValueError(text)
    number = hex_number(text)
    if number > (0x7FF if len(text) == 3 else 0x1FFFFFFF):
        raise ValueError(text)
    return CanId(number, len(text) == 8)


def _one_byte(text: str) -> int:
    if len(text) != 2:
        raise ValueError(text)
    return hex_number(text)


def _pattern(text: str) -> str:
    pattern = text.replace(" ", "").upper()
    if not re.fullmatch(r"(?:[0-9A-F?]{2})+\*?", pattern):
        raise ValueError(text)
    return pattern


def _order(text: str) -> tuple[int, ...]:
    numbers = tuple(int(one) for one in text.split("-"))
    if sorted(numbers) != list(range(1, len(numbers) + 1)) or len(numbers) < 2:
        raise ValueError(text)
    return numbers
