"""The bytes of a message with the names of their fields, for people who do not read hex."""

from __future__ import annotations

from typing import NamedTuple

from analysis.secrecy import MASK, is_secret
from canlog.counting import counted
from canlog.services.layout import SHOWN_BYTES, Decoded, Field, Kind

#: Request and answer of a transfer of memory.
BLOCKS = (0x36, 0x76)


class ByteRow(NamedTuple):
    """Some bytes of a message: where they stand, what they are called, what they say."""

    at: int
    octets: str
    name: str
    says: str


def byte_rows(message: Decoded, *, secrets: bool = False) -> list[ByteRow]:
    """One row a field, in order; a field that re-reads bits of a byte has no bytes of its own."""
    hides = is_secret(message.data) and not secrets
    rows = [_row(message.data, one, hides=hides) for one in message.fields if one.size or one.value is not False]
    rows = [row for row in rows if row.octets or row.says not in ("", "empty")]
    if rows and not rows[0].says:
        rows[0] = rows[0]._replace(says="refusal" if message.kind is Kind.NEGATIVE else message.name)
    if message.rest:
        at = len(message.data) - len(message.rest)
        rows.append(ByteRow(at, _octets(message.rest, hides=hides), "rest", "no layout explains these bytes"))
    rows += [ByteRow(len(message.data), "", "trouble", problem) for problem in message.problems]
    return rows


def _row(data: bytes, one: Field, *, hides: bool) -> ByteRow:
    name = one.name.replace("_", " ")
    if one.size and data[0] in BLOCKS and isinstance(one.value, bytes):  # firmware is nobody's business here
        return ByteRow(one.offset, "…", name, f"{counted(one.size, 'byte')} of memory, not shown")
    hidden = hides and one.offset > 1
    octets = _octets(data[one.offset : one.offset + one.size], hides=hidden)
    is_plain = isinstance(one.value, bytes) and not one.said
    says = "" if is_plain or one.text.replace(" ", "") == octets.replace(" ", "") else one.text
    return ByteRow(one.offset, octets, name, "masked" if hidden else says)


def _octets(data: bytes, *, hides: bool) -> str:
    if hides:
        return " ".join([MASK] * min(len(data), SHOWN_BYTES))
    shown = data[:SHOWN_BYTES].hex(" ").upper()
    return shown if len(data) <= SHOWN_BYTES else f"{shown} … ({len(data):,} bytes)"
