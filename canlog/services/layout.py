"""The layout language: what the bytes of a service message are, written once as a table.

A layout is a list of items; each reads its bytes from a :class:`Cursor` and leaves a :class:`Field`. The
engine never raises on content. When bytes are missing, it says which field needed how many at which offset
and stops; when bytes are left over, they become ``rest``. So the sizes of the fields and the rest always add
up to the length of the message. A field of size 0 is a second reading of bytes already counted: a bit or a
nibble of the byte at the same offset.

Names are those of ISO 14229-1:2020 in snake_case.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

Value = int | bytes | str
Says = Callable[[int], str]

#: Bytes of a record printed in full in a sentence; longer ones are shortened.
SHOWN_BYTES = 24


class Kind(StrEnum):
    """What a message is."""

    REQUEST = "request"
    POSITIVE = "positive"
    NEGATIVE = "negative"
    UNKNOWN = "unknown"


class Field(NamedTuple):
    """One value of a message and where it stands."""

    name: str
    value: Value
    offset: int
    size: int  # bytes counted here; 0 where the byte at ``offset`` was counted by another field
    said: str = ""

    @property
    def text(self) -> str:
        """The value for a reader: a name where the standard gives one, else hex."""
        if self.said:
            return self.said
        if isinstance(self.value, bytes):
            return hex_text(self.value)
        if isinstance(self.value, bool):
            return "yes" if self.value else "no"
        return f"{self.value:0{2 * self.size}X}" if isinstance(self.value, int) else self.value


def hex_text(data: bytes) -> str:
    """``12 34 56``; long records are cut and their length said."""
    if len(data) <= SHOWN_BYTES:
        return data.hex(" ").upper() or "empty"
    return f"{data[:SHOWN_BYTES].hex(' ').upper()} … ({len(data)} bytes)"


@dataclass(frozen=True, slots=True, repr=False)
class Decoded:
    """A message read by its layout: fields, rest and what was wrong with it.

    ``service`` is the request's service identifier, also for a response (0 when there is no byte at all);
    ``problems`` are bytes missing or left over, ``notes`` are deviations that do not hinder reading.
    """

    service: int
    name: str
    kind: Kind
    data: bytes
    fields: tuple[Field, ...]
    rest: bytes = b""
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def field(self, name: str) -> Field:
        """The first field of that name.

        Raises:
            KeyError: the message has none (not in its layout, or cut off before it).
        """
        for one in self.fields:
            if one.name == name:
                return one
        raise KeyError(name)

    def __getitem__(self, name: str) -> Value:
        return self.field(name).value

    def __contains__(self, name: object) -> bool:
        return any(one.name == name for one in self.fields)

    def get(self, name: str, default: Value | None = None) -> Value | None:
        """The first value of that name, or ``default``."""
        return next((one.value for one in self.fields if one.name == name), default)

    def number(self, name: str) -> int:
        """As ``decoded[name]`` for a number; a ``KeyError`` when there is no such number."""
        value = self[name]
        if not isinstance(value, int):
            raise KeyError(f"{name} is not a number")
        return value

    def octets(self, name: str) -> bytes:
        """As ``decoded[name]`` for a record; a ``KeyError`` when there is no such record."""
        value = self[name]
        if not isinstance(value, bytes):
            raise KeyError(f"{name} is not a record")
        return value

    def all(self, name: str) -> tuple[Value, ...]:
        """Every value of that name, in order (repeated groups)."""
        return tuple(one.value for one in self.fields if one.name == name)

    def rows(self, *names: str) -> list[tuple[Value, ...]]:
        """Repeated groups as rows of the columns named; a group that was cut off is left out."""
        return list(zip(*(self.all(name) for name in names), strict=False))

    def text(self) -> str:
        """One plain sentence: name, kind, and every field that says something."""
        said = [f"{one.name.replace('_', ' ')} {one.text}" for one in self.fields[1:] if _speaks(one)]
        if self.rest:
            said.append(f"rest {hex_text(self.rest)}")
        said.extend(f"problem: {problem}" for problem in self.problems)
        head = f"{self.name} {self.kind.value}"
        return f"{head}: {'; '.join(said)}" if said else head

    def __repr__(self) -> str:
        return f"<{self.text()} [{self.data.hex(' ').upper()}]>"


def _speaks(one: Field) -> bool:
    """Empty records and clear flags are left out of a sentence; the number 0 is not."""
    return one.value is not False and one.value != b""


@dataclass(slots=True)
class Cursor:
    """Where the engine stands in a message."""

    data: bytes
    at: int = 0
    fields: list[Field] = field(default_factory=list)
    values: dict[str, Value] = field(default_factory=dict)  # the last value of each name: widths and choices
    problems: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def left(self) -> int:
        """Bytes not yet read."""
        return len(self.data) - self.at

    @property
    def going(self) -> bool:
        """False once a field could not be read: what follows has no known place."""
        return not self.problems

    def put(self, name: str, value: Value, size: int, said: str = "", *, back: int = 0) -> None:
        """Add a field at the cursor (or ``back`` bytes before it) and move on by ``size``."""
        self.fields.append(Field(name, value, self.at - back, size, said))
        self.values[name] = value
        self.at += size

    def take(self, name: str, size: int) -> bytes | None:
        """The next ``size`` bytes without moving on; None, and the problem noted, when they are not there."""
        if size <= self.left:
            return self.data[self.at : self.at + size]
        self.problems.append(f"{name}: needs {size} byte{'s' * (size != 1)} at {self.at}, has {self.left}")
        return None

    def size(self, width: int | str) -> int:
        """A fixed width, or the value of the field that announces it."""
        if isinstance(width, int):
            return width
        value = self.values.get(width, 0)
        return value if isinstance(value, int) else 0


Item = Callable[[Cursor], None]


class Bits(NamedTuple):
    """Some bits of a byte: ``high`` down to ``low``, both included."""

    name: str
    high: int
    low: int
    says: Says | None = None
    flag: bool = False


def bits(name: str, high: int, low: int, says: Says | None = None) -> Bits:
    """A part of a byte with a name of its own."""
    return Bits(name, high, low, says)


def flag(name: str, bit: int) -> Bits:
    """One bit as yes or no."""
    return Bits(name, bit, bit, flag=True)


def uint(
    name: str,
    width: int | str,
    *,
    says: Says | None = None,
    parts: Sequence[Bits] = (),
    scale: int = 1,
    mask: int = -1,
    signed: bool = False,
) -> Item:
    """A number, most significant byte first.

    ``width`` is a count of bytes or the name of the field that holds it; ``parts`` are read from the raw
    number and follow it as fields of size 0; ``scale`` turns units of the wire into units of the name.
    """

    def read(cursor: Cursor) -> None:
        size = cursor.size(width)
        if size == 0:
            cursor.problems.append(f"{name}: a length of 0 bytes is announced at {cursor.at}")
            return
        octets = cursor.take(name, size)
        if octets is None:
            return
        raw = int.from_bytes(octets, "big", signed=signed)
        value = (raw & mask) * scale
        cursor.put(name, value, size, says(value) if says else f"{octets.hex().upper()}" if scale == 1 else str(value))
        for part in parts:
            piece = raw >> part.low & (1 << part.high - part.low + 1) - 1
            said = part.says(piece) if part.says else "" if part.flag else f"{piece:X}"
            cursor.put(part.name, bool(piece) if part.flag else piece, 0, said, back=size)

    return read


def u8(name: str, *, says: Says | None = None, parts: Sequence[Bits] = ()) -> Item:
    """One byte."""
    return uint(name, 1, says=says, parts=parts)


def u16(name: str, *, says: Says | None = None, scale: int = 1) -> Item:
    """Two bytes."""
    return uint(name, 2, says=says, scale=scale)


def u24(name: str, *, says: Says | None = None) -> Item:
    """Three bytes."""
    return uint(name, 3, says=says)


def named(table: Callable[[int], object], digits: int = 2) -> Says:
    """A number followed by its name: ``02 programmingSession``."""

    def say(value: int) -> str:
        return f"{value:0{digits}X} {table(value)}"

    return say


def decimal(value: int) -> str:
    """Counts and sizes read better in tens."""
    return f"{value}"


def octets(name: str, size: int | str) -> Item:
    """A record of fixed or announced size."""

    def read(cursor: Cursor) -> None:
        data = cursor.take(name, cursor.size(size))
        if data is not None:
            cursor.put(name, data, len(data))

    return read


def ascii_text(name: str, size: int | str) -> Item:
    """Text of fixed or announced size; bytes that are no ASCII are shown as ``\\xNN``."""

    def read(cursor: Cursor) -> None:
        data = cursor.take(name, cursor.size(size))
        if data is not None:
            cursor.put(name, data.decode("ascii", "backslashreplace"), len(data))

    return read


def rest(name: str, *, least: int = 0) -> Item:
    """Everything that is left, as one record; present (and empty) also when nothing is left."""

    def read(cursor: Cursor) -> None:
        if cursor.left < least:
            cursor.take(name, least)
            return
        cursor.put(name, cursor.data[cursor.at :], cursor.left)

    return read


def with_length(name: str, width: int = 2) -> tuple[Item, ...]:
    """A record that is preceded by its length."""
    return (uint(f"length_of_{name}", width, says=decimal), octets(name, f"length_of_{name}"))


def many(*items: Item, count: int | str | None = None) -> Item:
    """The items again and again, ``count`` times (number or name of a field) or to the end."""

    def read(cursor: Cursor) -> None:
        times = len(cursor.data) if count is None else cursor.size(count)
        for _ in range(times):
            if not cursor.going or (count is None and not cursor.left):
                return
            before = cursor.at
            run(items, cursor)
            if cursor.at == before:
                return

    return read


def optional(*items: Item) -> Item:
    """The items where bytes are left, nothing where the message ends here."""

    def read(cursor: Cursor) -> None:
        if cursor.left:
            run(items, cursor)

    return read


def choose(name: str, cases: Mapping[int, Sequence[Item]], otherwise: Sequence[Item] = ()) -> Item:
    """Items that depend on a number read before, such as the sub-function."""

    def read(cursor: Cursor) -> None:
        value = cursor.values.get(name)
        run(cases.get(value, otherwise) if isinstance(value, int) else otherwise, cursor)

    return read


def note(name: str, wrong: Callable[[int], bool], text: str) -> Item:
    """A deviation that does not hinder reading."""

    def read(cursor: Cursor) -> None:
        value = cursor.values.get(name)
        if isinstance(value, int) and wrong(value):
            cursor.notes.append(f"{name}: {text}")

    return read


def sub_function(says: Callable[[int], object], *parts: Bits) -> Item:
    """The sub-function of a request: value in bits 6-0, bit 7 suppresses the positive response.

    Source: suppressPosRspMsgIndicationBit, ISO 14229-1:2020, 8.2.2 (M); udsoncan 1.26.1.
    """
    return uint("sub_function", 1, mask=0x7F, says=named(says), parts=(flag("suppress", 7), *parts))


def sub_function_echo(says: Callable[[int], object], *parts: Bits) -> tuple[Item, ...]:
    """The sub-function in a positive response: the whole byte, of which bit 7 must be clear."""

    def say(value: int) -> str:
        return f"{value:02X} {says(value & 0x7F)}"

    return (
        uint("sub_function", 1, says=say, parts=parts),
        note("sub_function", lambda value: value > 0x7F, "bit 7 is set in a response, as KWP2000 echoes it"),
    )


def run(items: Sequence[Item], cursor: Cursor) -> None:
    """Read the items in order until one could not be read."""
    for item in items:
        if not cursor.going:
            return
        item(cursor)


class Layout:
    """The items of one message behind its service identifier."""

    def __init__(self, *items: Item) -> None:
        self.items = items

    def decode(
        self,
        data: bytes,
        *,
        service: int = 0,
        name: str = "",
        kind: Kind = Kind.UNKNOWN,
        first: str = "service_identifier",
    ) -> Decoded:
        """Fields, rest and problems of any bytes; never raises on content. ``first`` names the first byte."""
        data = bytes(data)
        cursor = Cursor(data)
        run((u8(first), *self.items), cursor)
        if cursor.going and cursor.left:
            cursor.problems.append(f"rest: {cursor.left} byte{'s' * (cursor.left != 1)} too many at {cursor.at}")
        return Decoded(
            service, name, kind, data, tuple(cursor.fields), data[cursor.at :],
            tuple(cursor.problems), tuple(cursor.notes),
        )  # fmt: skip


Key = tuple[Kind, int]


def request(service: int) -> Key:
    """The key of a request's layout."""
    return (Kind.REQUEST, service)


def response(service: int) -> Key:
    """The key of a positive response's layout, by the request's service identifier."""
    return (Kind.POSITIVE, service)
