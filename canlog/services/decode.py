"""From the bytes of a message to its fields: one registry of all dialects and layouts, requests and responses.

The dialect of a link comes from its traffic (``dialects``): the same bytes mean other things in another. Any
bytes decode. What has no layout (a reserved or maker's service, a dialect's own) keeps its bytes as
``rest`` and is of kind ``unknown``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from canlog.names.dids import DIDS
from canlog.names.nrc import Nrc, nrcs
from canlog.names.ranges import RangeTable
from canlog.services import (
    communication,
    data,
    dtc,
    event_and_link,
    gmw3110,
    io_control,
    kwp,
    negative,
    obd,
    routine,
    security,
    session,
    transfer,
)
from canlog.services.layout import Decoded, Field, Key, Kind, Layout, request, response
from canlog.services.table import SERVICES, Service, service_of_response

#: Layouts of ISO 14229-1 and, on the same links, of the OBD services 01-0A.
UDS_LAYOUTS: Final[dict[Key, Layout]] = {
    **session.LAYOUTS,
    **security.LAYOUTS,
    **communication.LAYOUTS,
    **event_and_link.LAYOUTS,
    **data.LAYOUTS,
    **dtc.LAYOUTS,
    **io_control.LAYOUTS,
    **routine.LAYOUTS,
    **transfer.LAYOUTS,
    **obd.LAYOUTS,
}


@dataclass(frozen=True, slots=True)
class Dialect:
    """How one family of services is read: what is a service, its layouts, its refusals and their codes."""

    name: str
    services: RangeTable[Service]
    layouts: Mapping[Key, Layout]
    negative: Layout
    nrcs: RangeTable[Nrc]


#: The dialects; a further one is a file with SERVICES, LAYOUTS and ECHOES and a line here.
DIALECTS: Final[dict[str, Dialect]] = {
    one.name: one
    for one in (
        Dialect("uds", SERVICES, UDS_LAYOUTS, negative.LAYOUT, nrcs("uds")),
        Dialect("kwp2000", kwp.SERVICES, kwp.LAYOUTS, kwp.NEGATIVE, nrcs("kwp2000")),
        Dialect("gmw3110", gmw3110.SERVICES, gmw3110.LAYOUTS, gmw3110.NEGATIVE, nrcs("gmw3110")),
        Dialect("obd", obd.SERVICES, obd.LAYOUTS, negative.layout(nrcs("obd")), nrcs("obd")),
    )
}

_UNKNOWN: Final = Layout()
EMPTY: Final = "empty message"


def dialect_named(name: str) -> Dialect:
    """The dialect of that name: uds, kwp2000, gmw3110 or obd.

    Raises:
        ValueError: no such dialect.
    """
    if name not in DIALECTS:
        raise ValueError(f"no dialect {name!r}; there are {', '.join(DIALECTS)}")
    return DIALECTS[name]


def layouts(dialect: str) -> Mapping[Key, Layout]:
    """The layouts of a dialect.

    Raises:
        ValueError: no such dialect.
    """
    return dialect_named(dialect).layouts


def name_of(data: bytes, dialect: str = "uds", *, is_response: bool = False) -> str:
    """What a message is called, without its fields: the ``name`` of :func:`decode_request` or :func:`decode_response`.

    Raises:
        ValueError: no such dialect.
    """
    read = dialect_named(dialect)
    if not data:
        return EMPTY
    sid = data[0]
    if is_response and sid == negative.NEGATIVE_RESPONSE:
        sid = data[1] if len(data) > 1 else 0
    elif is_response:
        sid = service_of_response(sid, read.services) or sid
    return read.services[sid].name


def decode_request(data: bytes, dialect: str = "uds", *, address_bytes: int | None = None) -> Decoded:
    """The fields of a request; never raises on content.

    Args:
        data: the message.
        dialect: a key of ``DIALECTS``.
        address_bytes: the width of the module's addresses, where its dialect has one that the message does not
            tell (GMW3110, see ``gmw3110.address_bytes_of``); a block decoded without it keeps its address in
            front of its data.

    Raises:
        ValueError: no such dialect.
    """
    read = dialect_named(dialect)
    if not data:
        return _nothing(data)
    sid = data[0]
    layout = read.layouts.get(request(sid))
    if dialect == "gmw3110" and sid == 0x36 and address_bytes is not None:
        layout = gmw3110.transfer_layout(address_bytes)
    if layout is None:
        return _unknown(read, data, sid)
    return layout.decode(data, service=sid, name=read.services[sid].name, kind=Kind.REQUEST)


def decode_response(data: bytes, dialect: str = "uds", request: bytes | None = None) -> Decoded:
    """The fields of a response; never raises on content.

    Args:
        data: the message.
        dialect: a key of ``DIALECTS``.
        request: the request it answers, where known: the records of an answer to 22 with several identifiers
            are told apart only with it.

    Raises:
        ValueError: no such dialect.
    """
    read = dialect_named(dialect)
    if not data:
        return _nothing(data)
    if data[0] == negative.NEGATIVE_RESPONSE:
        return _negative(read, data)
    sid = service_of_response(data[0], read.services)
    layout = None if sid is None else read.layouts.get(response(sid))
    if sid is None or layout is None:
        return _unknown(read, data, sid or data[0])
    decoded = layout.decode(data, service=sid, name=read.services[sid].name, kind=Kind.POSITIVE)
    if dialect == "uds" and sid == 0x22 and request is not None and request[:1] == b"\x22" and len(request) > 3:
        return _with_records(decoded, request)
    return decoded


def _negative(read: Dialect, message: bytes) -> Decoded:
    sid = message[1] if len(message) > 1 else 0
    return read.negative.decode(message, service=sid, name=read.services[sid].name, kind=Kind.NEGATIVE)


def _unknown(read: Dialect, message: bytes, sid: int) -> Decoded:
    decoded = _UNKNOWN.decode(message, service=sid, name=read.services[sid].name)
    # Nothing is missing or too much where no layout says what is due.
    return Decoded(sid, decoded.name, Kind.UNKNOWN, decoded.data, decoded.fields, decoded.rest)


def _nothing(message: bytes) -> Decoded:
    return _UNKNOWN.decode(message, name=EMPTY)


def _with_records(whole: Decoded, asked: bytes) -> Decoded:
    """The answer to several identifiers, record by record where there is one way only to part them."""
    identifiers = [int.from_bytes(asked[at : at + 2], "big") for at in range(1, len(asked) - 1, 2)]
    known = {did: size for did in identifiers if (size := obd.known_record_size(did)) is not None}
    records = data.split_records(identifiers, whole.data[1:], known)
    if records is None:
        left_whole = f"data_record: {len(identifiers)} identifiers were asked, their records cannot be told apart"
        return replace(whole, notes=(*whole.notes, left_whole))
    fields, at = [whole.fields[0]], 1
    for did, record in records:
        fields.append(Field("data_identifier", did, at, 2, f"{did:04X} {DIDS.name(did)}"))
        fields.append(Field("data_record", record, at + 2, len(record)))
        fields += [Field(one.name, one.value, at + 2 + one.at, 0, one.said) for one in obd.by_identifier(did, record)]
        at += 2 + len(record)
    return Decoded(whole.service, whole.name, whole.kind, whole.data, tuple(fields))
