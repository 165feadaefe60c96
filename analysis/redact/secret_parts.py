"""Which parts of which messages are secret: VIN, serial numbers, who programmed, seeds and keys, memory.

Source: ISO 14229-1:2020, services 23, 27, 29, 36, 3D and annex C.1 (F18C, F190, F198 and the fingerprints) (M); the
same in KWP2000 and GMW3110 as in ``canlog.services``. That a name with one of :data:`TELLING` in it names something
that identifies: common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Final, Literal, NamedTuple

from analysis.exchanges import Exchange
from analysis.operations.block_form import form_of
from analysis.record import Record
from analysis.redact.replacements import Replacements
from analysis.secrecy import is_secret
from analysis.story import Story
from canlog.isotp.addressing import Direction
from canlog.isotp.messages import Message
from canlog.isotp.steps import HEADLESS_REASONS
from canlog.names.dids import SERIAL_NUMBER
from canlog.names.tables import IdentifierKind, IdentifierName, Names
from canlog.names.value_layout import NUMBER_TYPES, ValueField
from canlog.names.vin import is_blank as is_blank_vin
from canlog.services.decode import decode_request, decode_response
from canlog.services.identifiers import (
    ONE_BYTE_VIN,
    READ_IDENTIFICATION,
    identifier_kind,
    identifier_name,
    identifier_text,
)
from canlog.services.layout import Decoded, Kind
from canlog.services.traits import Act, item_read, item_written

#: Words in the name of an identifier or of a field that say it identifies something.
TELLING: Final = re.compile(
    r"serial|traceab|fingerprint|shop|owner|customer|driver.?name|phone|equipment|immobili|password"
    r"|\b(?:vin|pin|imei|iccid|mac)\b", re.IGNORECASE,
)  # fmt: skip
_CHECK: Final = re.compile(r"crc|check", re.IGNORECASE)
OBD_VIN: Final = 0xF802
#: Of the module, and of the engine (SAE J1979, vehicle information 0D, M).
SERIAL_NUMBERS: Final = frozenset({SERIAL_NUMBER, 0xF80D})
#: KWP2000: the serial number among the identifications that 1A reads (ISO 14230-3, M).
_KWP_SERIAL_NUMBER: Final = 0x8C
_KWP_IDENTIFYING: Final = frozenset({_KWP_SERIAL_NUMBER, ONE_BYTE_VIN, 0x98, 0x9A})
_READ_LOCAL, _WRITE_LOCAL = b"\x21", b"\x3b"
#: Identification options of the maker (ISO 14229-1:2020, annex C.1, M): what a tester writes there, it leaves behind.
_MAKERS_OPTIONS: Final = frozenset({*range(0xF100, 0xF180), *range(0xF1A0, 0xF1F0)})
_OPEN_BYTES: Final = 2  # service and sub-function of 27 and 29
_BLOCK, _BLOCK_ANSWER = 0x36, 0x76
#: What is enciphered may be anything (service 84).
_SECURED: Final = frozenset({0x84, 0xC4})
#: Answers with records beside faults: behind their identifiers stand values (service 19, 04 to 06 and 16 to 1A).
_FAULT_RECORDS: Final = re.compile(rb"\x59[\x04-\x06\x10\x16-\x1a]")
#: What may stand there with values that identify.
_IN_FAULT_RECORDS: Final = re.compile(rb"\xf1[\x83-\x85\x8c\x98\x9a]")
#: Vehicle information that no reading tells: the engine's serial number, behind the number of items.
_ENGINE_NUMBER: Final = b"\x49\x0d"
_DEFINE: Final = b"\x2c\x01"  # by identifier: four bytes each


class Part(NamedTuple):
    """A secret stretch of a message, and how it is called in the list."""

    message: Message
    start: int
    new: bytes
    kind: str
    module: str
    identifier: str = ""

    @property
    def old(self) -> bytes:
        """What stands there."""
        return self.message.data[self.start : self.start + len(self.new)]


@dataclass(frozen=True)
class Redactor:
    """What is secret, by the standards, by names and by the user's word; and what stands in its place."""

    names: Names
    also: Collection[int]
    replacements: Replacements
    derived: dict[tuple[str, int], str] = field(default_factory=dict)  # label, identifier -> why it is one

    def kind(self, label: str, did: int, dialect: str, service: int) -> str:
        """Why an identifier is replaced as a whole; empty where it is not."""
        name = self.names.identifier(label, did)
        kind = str(name.kind) if name else identifier_kind(did, dialect, service)
        if kind == IdentifierKind.VIN or did == OBD_VIN:
            return "VIN"
        is_kwp_serial = dialect == "kwp2000" and service == READ_IDENTIFICATION and did == _KWP_SERIAL_NUMBER
        if did in SERIAL_NUMBERS or is_kwp_serial:
            return "serial number"
        if did in self.also:
            return "named by --also"
        if kind == IdentifierKind.FINGERPRINT:
            return "fingerprint"
        called = name.name if name else identifier_name(did, dialect, service)
        if TELLING.search(called):
            return "identifies by its name"
        return self.derived.get((label, did), "") if name is None else ""

    def learn(self, label: str, request: bytes, dialect: str) -> None:
        """What an identifier holds that is defined by others (2C), and what a tester leaves behind under no name."""
        if dialect == "kwp2000":
            self._learn_local(label, request)
        if dialect != "uds":
            return
        if request.startswith(_DEFINE):
            sources = [int.from_bytes(request[at : at + 2], "big") for at in range(4, len(request) - 3, 4)]
            if any(self.kind(label, one, dialect, 0x22) for one in sources):
                self.derived[label, int.from_bytes(request[2:4], "big")] = "defined by what identifies"
        did = int.from_bytes(request[1:3], "big")
        if request[:1] == b"\x2e" and did in _MAKERS_OPTIONS:
            self.derived.setdefault((label, did), "left behind by the tester")

    def _learn_local(self, label: str, request: bytes) -> None:
        """KWP2000: an identification is written with 3B, unless 21 reads the same number, which is another space."""
        if len(request) < 2:
            return
        if request[:1] == _READ_LOCAL:
            self.derived[label, request[1]] = ""
        elif request[:1] == _WRITE_LOCAL and request[1] in _KWP_IDENTIFYING:
            kind = "VIN" if request[1] == ONE_BYTE_VIN else "written identification"
            self.derived.setdefault((label, request[1]), kind)

    def record(self, label: str, did: int, raw: bytes, dialect: str = "uds", service: int = 0) -> tuple[str, bytes]:
        """The kind and the replacement of a record; an empty kind where it stays."""
        kind, name = self.kind(label, did, dialect, service), self.names.identifier(label, did)
        if name is not None and (name.is_default(raw) or name.is_blank(raw)):
            return "", raw
        if kind == "VIN":
            new = raw if is_blank_vin(raw) else self._vin(raw)
        elif name is None or not name.layout:
            new = self.replacements.octets(raw) if kind else raw
        else:
            new = self._by_layout(name, raw, whole=bool(kind))
        return (kind or "serial number in a record", new) if new != raw else ("", raw)

    def _vin(self, raw: bytes) -> bytes:
        """In OBD a counter of values stands in front."""
        head = 1 if len(raw) > 1 and raw[0] < 0x10 and raw[1:].strip(b"\0\xff ") else 0
        return raw[:head] + self.replacements.vin(raw[head:])

    def _by_layout(self, name: IdentifierName, raw: bytes, *, whole: bool) -> bytes:
        new, at = bytearray(raw), 0
        for one in name.layout:
            for start in range(at, at + one.total, one.size):
                if (whole or TELLING.search(one.name)) and _identifies(one):
                    new[start : start + one.size] = self.replacements.octets(raw[start : start + one.size])
            at += one.total
        if whole and raw[at:]:
            new[at:] = self.replacements.octets(raw[at:])
        return _checked(name, raw, bytes(new[: len(raw)]))


def _identifies(one: ValueField) -> bool:
    """A number with a range or a unit is a measure; a check is worked out again."""
    return not _CHECK.search(one.name) and not (one.type in NUMBER_TYPES and (one.range or one.unit))


def _checked(name: IdentifierName, old: bytes, new: bytes) -> bytes:
    """The record with its check worked out again, where the old one fits a check that is known."""
    at = 0
    for one in name.layout:
        end = at + one.total
        if old != new and one.count == 1 and _CHECK.search(one.name) and end <= len(old):
            order: Literal["little", "big"] = "little" if one.little_endian else "big"
            for width, check in CHECKS:
                if width == one.size and check(old[:at]).to_bytes(width, order) == old[at:end]:
                    new = new[:at] + check(new[:at]).to_bytes(width, order) + new[end:]
                    break
        at = end
    return new


def _crc16(data: bytes, crc: int = 0xFFFF) -> int:
    """Polynomial 1021, not reflected."""
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ (0x1021 if crc & 0x8000 else 0)) & 0xFFFF
    return crc


def _crc16_reflected(data: bytes, polynomial: int, crc: int) -> int:
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (polynomial if crc & 1 else 0)
    return crc


def _crc32(data: bytes) -> int:
    import zlib

    return zlib.crc32(data)


#: Checks that are tried, by width: CRC-16 of ITU-T V.41 from FFFF and 0000, reflected, and ANSI; CRC-32 of IEEE 802.3;
#: sums and their complements (common practice, no source).
CHECKS: Final = (
    (2, _crc16),
    (2, lambda data: _crc16(data, 0)),
    (2, lambda data: _crc16_reflected(data, 0x8408, 0)),
    (2, lambda data: _crc16_reflected(data, 0xA001, 0xFFFF)),
    (2, lambda data: _crc16_reflected(data, 0xA001, 0)),
    (2, lambda data: sum(data) & 0xFFFF),
    (4, _crc32),
    (4, lambda data: sum(data) & 0xFFFFFFFF),
    (1, lambda data: sum(data) & 0xFF),
    (1, lambda data: -sum(data) & 0xFF),
    (1, lambda data: ~sum(data) & 0xFF),
)


def secret_parts(record: Record, redactor: Redactor) -> Iterator[Part]:
    """The secret stretches of every message, in no order; of one message they never overlap by accident."""
    labels = {story.link.key: story.label for story in record.stories}
    memory = _Memory(redactor.replacements)
    for story in record.stories:
        for exchange in story.exchanges:
            redactor.learn(story.label, exchange.asked, exchange.dialect)
    for story in record.stories:
        yield from _records(story, record, redactor)
        memory.learn(story)
    for capture in record.captures:
        for message in capture.messages:
            key = message.link.key
            yield from _of_message(message, labels.get(key, key), record, redactor, memory)


def _records(story: Story, record: Record, redactor: Redactor) -> Iterator[Part]:
    told = {reading.exchange.number for reading in record.readings(story)}
    yield from _unparted(story, told, redactor)
    for reading in record.readings(story):
        exchange, raw = reading.exchange, reading.raw
        kind, new = redactor.record(story.label, reading.identifier, raw, exchange.dialect, exchange.service)
        if kind and exchange.response is not None:
            start = _position(exchange, reading.identifier, raw)
            number = identifier_text(reading.identifier, exchange.service)
            yield Part(exchange.response, start, new, kind, story.label, number)


def _unparted(story: Story, told: Collection[int], redactor: Redactor) -> Iterator[Part]:
    """Answers with several records that cannot be told apart, one of them secret: all but the identifiers."""
    for exchange in story.exchanges:
        asked = [exchange.asked[at : at + 2] for at in range(1, len(exchange.asked) - 1, 2)]
        several = exchange.asked[:1] == b"\x22" and len(asked) > 1
        if not several or exchange.number in told or exchange.response is None or not exchange.positive:
            continue
        dids = [int.from_bytes(one, "big") for one in asked]
        if any(redactor.kind(story.label, did, exchange.dialect, 0x22) for did in dids):
            data, at = exchange.answered, 1
            for mark in (*asked, b""):
                end = data.find(mark, at) if mark else len(data)
                if end > at:
                    new = redactor.replacements.octets(data[at:end])
                    yield Part(exchange.response, at, new, "records that cannot be told apart", story.label)
                at = max(end, at) + len(mark)


def _position(exchange: Exchange, identifier: int, raw: bytes) -> int:
    """Where a record begins in the answer: at its end, or behind its identifier."""
    answer = exchange.answered
    if answer.endswith(raw) and len(answer) - len(raw) <= 3:
        return len(answer) - len(raw)
    mark = identifier.to_bytes(2, "big")
    at = answer.find(mark + raw)
    return at + len(mark) if at >= 0 else answer.find(raw)


class _Memory:
    """Blocks of memory: how they begin, and what was put in place of what, to find a read-back again."""

    def __init__(self, replacements: Replacements) -> None:
        self.replacements = replacements
        self.heads: dict[str, int] = {}
        self._old = bytearray()
        self._new = bytearray()

    def learn(self, story: Story) -> None:
        """How the blocks of a module begin: each transfer is asked, for a short one does not always tell."""
        transfers: list[tuple[Exchange | None, list[Exchange]]] = []
        for exchange in story.exchanges:
            if exchange.act in (Act.DOWNLOAD, Act.UPLOAD):
                transfers.append((exchange, []))
            elif exchange.act is Act.BLOCK:
                if not transfers:
                    transfers.append((None, []))
                transfers[-1][1].append(exchange)
        heads = [form_of(asked, blocks, None).head for asked, blocks in transfers if blocks]
        if heads:
            self.heads[story.link.key] = max(heads)

    def block(self, data: bytes) -> bytes:
        """The replacement of a block."""
        new = self.replacements.octets(data)
        self._old += data
        self._new += new
        return new

    def read_back(self, data: bytes) -> bytes:
        """The replacement of what was read: the same as of what was written."""
        at = self._old.find(data) if len(data) >= 4 else -1
        return bytes(self._new[at : at + len(data)]) if at >= 0 else self.replacements.octets(data)


def _of_message(
    message: Message, label: str, record: Record, redactor: Redactor, memory: _Memory
) -> Iterator[Part]:  # fmt: skip
    data, key = message.data, message.link.key
    guess = record.dialects.get(key)
    dialect = guess.dialect if guess else "uds"
    octets = redactor.replacements.octets
    if message.reason in HEADLESS_REASONS:
        yield Part(message, 0, octets(data), "piece of a message without its beginning", label)
    elif is_secret(data):
        for start, end in _secret_fields(message, dialect):
            yield Part(message, start, octets(data[start:end]), "seed, key or certificate", label)
    elif data[:1] in (bytes([_BLOCK]), bytes([_BLOCK_ANSWER])):
        head = memory.heads.get(key, _OPEN_BYTES)
        if data[0] == _BLOCK_ANSWER:
            head = min(head, _OPEN_BYTES)
        if data[head:]:
            yield Part(message, head, memory.block(data[head:]), "transferred data", label)
    elif data[:1] in (b"\x63", b"\x3d"):
        at = _last_record(_decoded(message, dialect))
        if at is not None:
            yield Part(message, at, memory.read_back(data[at:]), "memory by address", label)
    elif data[0] in _SECURED and data[1:]:
        yield Part(message, 1, octets(data[1:]), "secured data", label)
    elif data.startswith(_ENGINE_NUMBER) and data[3:]:
        yield Part(message, 3, octets(data[3:]), "serial number", label, "09 0D")
    elif dialect == "uds" and _FAULT_RECORDS.match(data):
        mark = _IN_FAULT_RECORDS.search(data, _OPEN_BYTES)
        if mark is not None and data[mark.end() :]:
            yield Part(message, mark.end(), octets(data[mark.end() :]), "record beside a fault", label)
    else:
        yield from _item(message, label, dialect, redactor)


def _decoded(message: Message, dialect: str) -> Decoded:
    asked = message.direction is Direction.REQUEST
    return decode_request(message.data, dialect) if asked else decode_response(message.data, dialect)


def _secret_fields(message: Message, dialect: str) -> list[tuple[int, int]]:
    """Where seeds, keys and certificates stand; numbers beside them (lengths, what 69 says) are no secret."""
    decoded, size = _decoded(message, dialect), len(message.data)
    fields = [(one.offset, one.offset + one.size) for one in decoded.fields if isinstance(one.value, bytes)]
    if decoded.rest:
        fields.append((size - len(decoded.rest), size))
    return [(_OPEN_BYTES, size)] if decoded.kind is Kind.UNKNOWN else fields


def _last_record(decoded: Decoded) -> int | None:
    """Where the last field that is bytes begins; None where there is none."""
    records = [one for one in decoded.fields if isinstance(one.value, bytes) and one.size]
    return records[-1].offset if records else None


def _item(message: Message, label: str, dialect: str, redactor: Redactor) -> Iterator[Part]:
    """A write, and an answer that was cut off or that nothing asked for; whole answers are told by readings."""
    data = message.data
    item = item_written(data, dialect) if message.direction is Direction.REQUEST else None
    if message.direction is Direction.RESPONSE and not message.complete:
        item = item_read(data, dialect)
    if item is None or not item.data:
        return
    kind, new = redactor.record(label, item.identifier, item.data, dialect, item.service)
    if kind:
        number = identifier_text(item.identifier, item.service)
        yield Part(message, len(data) - len(item.data), new, kind, label, number)
