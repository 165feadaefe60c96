"""Reading and writing data: services 22, 23, 24, 2A, 2C, 2E, 3D.

An answer to 22 does not carry the lengths of its records, nor is a written value echoed: 6E says that a
write was accepted, only reading it back says what is stored.

Source: ISO 14229-1:2020, 11 (M); layouts agree with udsoncan 1.26.1 and scapy 2.8.0.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Final

from canlog.names.dids import DIDS
from canlog.names.ranges import RESERVED, RangeTable, singles
from canlog.services.layout import (
    Cursor,
    Layout,
    choose,
    decimal,
    many,
    named,
    optional,
    request,
    response,
    rest,
    sub_function,
    sub_function_echo,
    u8,
    u16,
)
from canlog.services.memory import FORMAT, LOCATION, RANGE
from canlog.services.obd import by_identifier

identifier = u16("data_identifier", says=named(DIDS.name, 4))

#: Total over 00-FF: how fast 2A sends.
TRANSMISSION_MODES: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x00, RESERVED),
        *singles({0x01: "sendAtSlowRate", 0x02: "sendAtMediumRate", 0x03: "sendAtFastRate", 0x04: "stopSending"}),
        (0x05, 0xFF, RESERVED),
    ],
)

#: Total over 00-7F.
DYNAMIC_DEFINITIONS: Final = RangeTable(
    0x7F,
    [
        (0x00, 0x00, RESERVED),
        *singles(
            {
                0x01: "defineByIdentifier",
                0x02: "defineByMemoryAddress",
                0x03: "clearDynamicallyDefinedDataIdentifier",
            }
        ),
        (0x04, 0x7F, RESERVED),
    ],
)

_defined = u16("dynamically_defined_data_identifier", says=named(DIDS.name, 4))


def _record_read(cursor: Cursor) -> None:
    """The record, and for the identifiers of OBD (F4xx, F6xx, F8xx) what it says."""
    rest("data_record", least=1)(cursor)
    record = cursor.values.get("data_record")
    if not isinstance(record, bytes):
        return
    for name, value, at, said in by_identifier(cursor.size("data_identifier"), record):
        cursor.put(name, value, 0, said, back=len(record) - at)


LAYOUTS: Final = {
    request(0x22): Layout(identifier, many(identifier)),
    response(0x22): Layout(identifier, _record_read),
    request(0x23): Layout(*LOCATION),
    response(0x23): Layout(rest("data_record", least=1)),
    request(0x24): Layout(identifier),
    response(0x24): Layout(identifier, rest("scaling_record", least=1)),
    request(0x2A): Layout(
        u8("transmission_mode", says=named(TRANSMISSION_MODES.name)), many(u8("periodic_data_identifier"))
    ),
    response(0x2A): Layout(),
    request(0x2C): Layout(
        sub_function(DYNAMIC_DEFINITIONS.name),
        choose(
            "sub_function",
            {
                0x01: [_defined, many(u16("source_data_identifier", says=named(DIDS.name, 4)),
                                      u8("position_in_source_data_record", says=decimal),
                                      u8("source_memory_size", says=decimal))],
                0x02: [_defined, FORMAT, many(*RANGE)],
                0x03: [optional(_defined)],
            },
            [rest("definition_record")],
        ),
    ),
    response(0x2C): Layout(*sub_function_echo(DYNAMIC_DEFINITIONS.name), optional(_defined)),
    request(0x2E): Layout(identifier, rest("data_record", least=1)),
    response(0x2E): Layout(identifier),
    request(0x3D): Layout(*LOCATION, rest("data_record", least=1)),
    response(0x3D): Layout(*LOCATION),
}  # fmt: skip


def split_records(
    identifiers: Sequence[int], payload: bytes, known_lengths: Mapping[int, int]
) -> list[tuple[int, bytes]] | None:
    """The records of an answer to 22 with several identifiers, where they can be told apart.

    Lengths are not on the wire. The payload is split only when there is exactly one way to find every
    identifier asked, in the order asked, with a record of its known length (or of at least one byte) behind.

    Args:
        identifiers: as asked, in order.
        payload: the answer behind its service identifier, beginning with the first identifier.
        known_lengths: bytes of the record of an identifier, for those that are known.

    Returns:
        (identifier, record) pairs; None when no way or more than one way fits.
    """
    ids = tuple(identifiers)

    @cache
    def ways(index: int, at: int) -> tuple[tuple[int, ...], ...]:
        """Up to two lists of the ends of the records from ``index`` on, which begins at ``at``."""
        if payload[at : at + 2] != ids[index].to_bytes(2, "big"):
            return ()
        start = at + 2
        known = known_lengths.get(ids[index])
        if index == len(ids) - 1:
            fits = len(payload) - start >= 1 if known is None else len(payload) - start == known
            return ((len(payload),),) if fits else ()
        ends = range(start + 1, len(payload)) if known is None else (start + known,)
        found: list[tuple[int, ...]] = []
        for end in ends:
            found.extend((end, *tail) for tail in ways(index + 1, end))
            if len(found) > 1:
                break
        return tuple(found[:2])

    found = ways(0, 0) if ids else ()
    if len(found) != 1:
        return None
    starts = (0, *found[0])
    return [(did, payload[start + 2 : end]) for did, start, end in zip(ids, starts, found[0], strict=False)]
