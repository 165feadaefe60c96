"""What a class is not shown: seeds and keys, VINs behind the maker's sign, serial numbers, fingerprints, memory.

What is secret is told by ``analysis.redact.secret_parts``. Of a VIN the first three signs stay: they name the maker
and no vehicle (ISO 3780 (M)). The same VIN has the same letter behind it everywhere, so that a class can still say
whether two modules agree. A class that is to work with whole VINs is shown a copy made by ``canlog redact``, with
``--secrets``: then every value is whole and nobody's.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from string import ascii_uppercase
from typing import Final

from analysis.record import Record
from analysis.redact.replacements import Replacements
from analysis.redact.secret_parts import Part, Redactor, secret_parts
from analysis.report.model import Report
from analysis.secrecy import MASK, is_secret
from canlog.isotp.messages import Message
from canlog.names.tables import Names
from canlog.names.value_layout import FILL
from canlog.names.vin import LENGTH, is_well_formed

#: Signs of a VIN that name the maker only.
MAKER: Final = 3
SIGN: Final = "*"
#: Shorter texts stand everywhere by chance; where their meaning is known their bytes are hidden all the same.
LEAST_TEXT: Final = 4
LEAST_BYTES: Final = 3
#: Values that are looked for elsewhere: shorter or plainer ones stand there by chance.
LEAST_SEARCHED: Final = 6
LEAST_SIGNS: Final = 2
BLOCKS: Final = (b"\x36", b"\x76")
VIN: Final = "VIN"
#: Kinds whose bytes no sentence tells.
NEVER_TOLD: Final = frozenset({"seed, key or certificate", "transferred data", "memory by address"})
_HEX: Final = re.compile(r"[0-9A-F]+")
_OTHER: Final = bytes(byte ^ 0xFF for byte in range(256))
_OPEN_BYTES: Final = 2  # service and sub-function of 27 and 29
MessageKey = tuple[str, str, tuple[int, int], bytes]


class _Inverted(Replacements):
    """Marks what would be replaced: every secret byte comes back inverted."""

    def vin(self, value: bytes) -> bytes:
        return self.octets(value)

    def octets(self, value: bytes) -> bytes:
        return value.translate(_OTHER) if value.strip(FILL) else value


@dataclass(frozen=True)
class Masks:
    """``hidden``: places of secret bytes by message; ``texts``: what stands for a secret text."""

    is_on: bool = False
    hidden: Mapping[MessageKey, frozenset[int]] = field(default_factory=dict)
    texts: Mapping[str, str] = field(default_factory=dict)
    _pattern: re.Pattern[str] | None = None

    def text(self, said: str) -> str:
        """A sentence without secrets."""
        return self._pattern.sub(lambda found: self.texts[found[0]], said) if self._pattern is not None else said

    def of(self, message: Message | None) -> frozenset[int]:
        """Which bytes of a message are not shown."""
        if message is None or not self.is_on:
            return frozenset()
        if is_secret(message.data):
            return frozenset(range(_OPEN_BYTES, len(message.data)))
        return self.hidden.get(_key(message), frozenset())


NO_MASKS: Final = Masks()


def masks_of(report: Report) -> Masks:
    """The masks for everything that a walk shows of a report."""
    record = report.record
    parts = sorted(secret_parts(record, Redactor(record.names, (), _Inverted())), key=lambda one: one.message.lines)
    hidden: dict[MessageKey, frozenset[int]] = {}
    texts: dict[str, str] = {}
    for part in parts:
        places = frozenset(_places(part))
        key = _key(part.message)
        hidden[key] = hidden.get(key, frozenset()) | places
        if part.kind == VIN:
            _learn_vin(texts, _vin_text(part.old))
        if part.kind not in NEVER_TOLD:
            for old, new in _forms(part, places, record.names):
                texts.setdefault(old, new)
    for one in report.expectations:
        _learn_vin(texts, one.asked)
    for message, found in _elsewhere(record, parts):
        hidden[_key(message)] = hidden.get(_key(message), frozenset()) | found
    pattern = re.compile("|".join(map(re.escape, sorted(texts, key=len, reverse=True)))) if texts else None
    return Masks(True, hidden, texts, pattern)


def _elsewhere(record: Record, parts: Iterable[Part]) -> Iterator[tuple[Message, frozenset[int]]]:
    """The same values in messages that nothing says to hold one: a VIN written by an identifier of a maker's own."""
    values: dict[bytes, int] = {}  # and how many bytes of it are shown
    for part in parts:
        marked = [new != old for old, new in zip(part.old, part.new, strict=True)]
        said = [_vin_text(part.old).encode()] if part.kind == VIN else list(_runs(part.old, marked))
        for value in said if part.kind not in NEVER_TOLD else ():
            if len(value) >= LEAST_SEARCHED and len(set(value)) > LEAST_SIGNS:
                values.setdefault(value, MAKER if part.kind == VIN else 0)
    if not values:
        return
    pattern = re.compile(b"|".join(map(re.escape, sorted(values, key=len, reverse=True))))
    for message in (one for capture in record.captures for one in capture.messages):
        if message.data[:1] not in BLOCKS:
            for found in pattern.finditer(message.data):
                yield message, frozenset(range(found.start() + values[found[0]], found.end()))


def masked_octets(data: bytes, hidden: Iterable[int]) -> list[str]:
    """Each byte in hex, ``**`` where it is hidden."""
    places = frozenset(hidden)
    return [MASK if at in places else f"{byte:02X}" for at, byte in enumerate(data)]


def _key(message: Message) -> MessageKey:
    return message.link.key, message.direction.value, message.lines, message.data


def _vin_text(value: bytes) -> str:
    """A VIN without fill bytes, and in OBD without the counter in front."""
    return value.strip(FILL)[-LENGTH:].decode("ascii", "replace")


def _places(part: Part) -> Iterator[int]:
    old, new = part.old, part.new
    text = _vin_text(old)
    shown = old.find(text.encode()) + MAKER if part.kind == VIN and is_well_formed(text) else 0
    return (part.start + at for at in range(shown, len(new)) if new[at] == old[at] ^ 0xFF)


def _forms(part: Part, places: frozenset[int], names: Names) -> Iterator[tuple[str, str]]:
    """The texts in which the secret bytes of a part can be told, and what stands there instead."""
    octets = [part.start + at in places for at in range(len(part.old))]
    shown = [MASK if is_hidden else f"{byte:02X}" for byte, is_hidden in zip(part.old, octets, strict=True)]
    runs = [run for run in _runs(part.old, octets) if len(run) >= LEAST_BYTES]
    if part.kind != VIN:
        for run in runs:
            text = run.strip(FILL)
            yield run.hex(" ").upper(), " ".join([MASK] * len(run))
            yield run.hex().upper(), MASK * len(run)
            if text.isascii() and text.decode().isprintable():
                yield text.decode(), SIGN * len(text)
    if runs:
        yield part.old.hex(" ").upper(), " ".join(shown)
        yield part.old.hex().upper(), "".join(shown)
    yield from _fields(part, places, names)


def _runs(data: bytes, marked: Sequence[bool]) -> Iterator[bytes]:
    for is_hidden, group in groupby(zip(marked, data, strict=True), key=lambda one: one[0]):
        if is_hidden:
            yield bytes(byte for _, byte in group)


def _fields(part: Part, places: frozenset[int], names: Names) -> Iterator[tuple[str, str]]:
    """Values of a layout whose bytes are all hidden, as their layout tells them."""
    name = names.identifier(part.module, int(part.identifier, 16)) if _HEX.fullmatch(part.identifier) else None
    at = part.start
    for value in name.decode(part.old) if name is not None else ():
        if len(value.text) >= LEAST_TEXT and places.issuperset(range(at, at + len(value.raw))):
            yield value.text, SIGN * len(value.text)
        at += len(value.raw)


def _learn_vin(texts: dict[str, str], said: str) -> None:
    if is_well_formed(said) and said not in texts:
        letter = ascii_uppercase[sum(one.endswith(")") for one in texts.values()) % len(ascii_uppercase)]
        texts[said] = f"{said[:MAKER]}{SIGN * (LENGTH - MAKER)} ({letter})"
