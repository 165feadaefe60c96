"""The bytes of a message with the names of their fields, for people who do not read hex."""

from __future__ import annotations

from typing import NamedTuple

from analysis.walk.masks import masked_octets
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


def byte_rows(message: Decoded, hidden: frozenset[int] = frozenset()) -> list[ByteRow]:
    """One row a field, in order; a field that re-reads bits of a byte has no bytes of its own.

    Args:
        message: request or answer.
        hidden: places of bytes that are not shown.
    """
    rows = [_row(message.data, one, hidden) for one in message.fields if one.size or one.value is not False]
    rows = [row for row in rows if row.octets or row.says not in ("", "empty")]
    if rows and not rows[0].says:
        rows[0] = rows[0]._replace(says="refusal" if message.kind is Kind.NEGATIVE else message.name)
    if message.rest:
        at = len(message.data) - len(message.rest)
        rows.append(
            ByteRow(at, _octets(message.data, at, len(message.data), hidden), "rest", "no layout explains these bytes")
        )
    rows += [ByteRow(len(message.data), "", "trouble", problem) for problem in message.problems]
    return rows


def _row(data: bytes, one: Field, hidden: frozenset[int]) -> ByteRow:
    name = one.name.replace("_", " ")
    if one.size and data[0] in BLOCKS and isinstance(one.value, bytes):  # firmware is nobody's business here
        return ByteRow(one.offset, "…", name, f"{counted(one.size, 'byte')} of memory, not shown")
    own = range(one.offset, one.offset + one.size)
    octets = _octets(data, one.offset, one.offset + one.size, hidden)
    if hidden.intersection(own):
        return ByteRow(one.offset, octets, name, "masked" if hidden.issuperset(own) else "partly masked")
    is_plain = isinstance(one.value, bytes) and not one.said
    says = "" if is_plain or one.text.replace(" ", "") == octets.replace(" ", "") else one.text
    return ByteRow(one.offset, octets, name, says)


def _octets(data: bytes, start: int, end: int, hidden: frozenset[int]) -> str:
    shown = " ".join(masked_octets(data, hidden)[start : min(end, start + SHOWN_BYTES)])
    return shown if end - start <= SHOWN_BYTES else f"{shown} … ({end - start:,} bytes)"
