"""From the bytes of a message to its fields: one registry of all layouts, requests and responses.

Any bytes decode. What has no layout (a reserved or maker's service, a dialect's own) keeps its bytes as
``rest`` and is of kind ``unknown``.
"""

from __future__ import annotations

from typing import Final

from canlog.names.dids import DIDS
from canlog.services import (
    communication,
    data,
    dtc,
    event_and_link,
    io_control,
    negative,
    obd,
    routine,
    security,
    session,
    transfer,
)
from canlog.services.layout import Decoded, Field, Key, Kind, Layout, request, response
from canlog.services.table import SERVICES, service_of_response

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

#: Layouts by dialect; a further dialect is a file with LAYOUTS and a line here.
DIALECTS: Final[dict[str, dict[Key, Layout]]] = {"uds": UDS_LAYOUTS}

_UNKNOWN: Final = Layout()


def layouts(dialect: str) -> dict[Key, Layout]:
    """The layouts of a dialect.

    Raises:
        ValueError: no such dialect.
    """
    if dialect not in DIALECTS:
        raise ValueError(f"no dialect {dialect!r}; there are {', '.join(DIALECTS)}")
    return DIALECTS[dialect]


def decode_request(data: bytes, dialect: str = "uds") -> Decoded:
    """The fields of a request; never raises on content."""
    table = layouts(dialect)
    if not data:
        return _nothing(data)
    sid = data[0]
    layout = table.get(request(sid))
    if layout is None:
        return _unknown(data, sid)
    return layout.decode(data, service=sid, name=SERVICES[sid].name, kind=Kind.REQUEST)


def decode_response(data: bytes, dialect: str = "uds", request: bytes | None = None) -> Decoded:
    """The fields of a response; never raises on content.

    Args:
        data: the message.
        dialect: a key of ``DIALECTS``.
        request: the request it answers, where known: the records of an answer to 22 with several identifiers
            are told apart only with it.
    """
    table = layouts(dialect)
    if not data:
        return _nothing(data)
    if data[0] == negative.NEGATIVE_RESPONSE:
        return _negative(data)
    sid = service_of_response(data[0])
    layout = None if sid is None else table.get(response(sid))
    if sid is None or layout is None:
        return _unknown(data, sid or data[0])
    decoded = layout.decode(data, service=sid, name=SERVICES[sid].name, kind=Kind.POSITIVE)
    if sid == 0x22 and request is not None and request[:1] == b"\x22" and len(request) > 3:
        return _with_records(decoded, request)
    return decoded


def _negative(message: bytes) -> Decoded:
    sid = message[1] if len(message) > 1 else 0
    return negative.LAYOUT.decode(message, service=sid, name=SERVICES[sid].name, kind=Kind.NEGATIVE)


def _unknown(message: bytes, sid: int) -> Decoded:
    decoded = _UNKNOWN.decode(message, service=sid, name=SERVICES[sid].name)
    # Nothing is missing or too much where no layout says what is due.
    return Decoded(sid, decoded.name, Kind.UNKNOWN, decoded.data, decoded.fields, decoded.rest)


def _nothing(message: bytes) -> Decoded:
    return _UNKNOWN.decode(message, name="empty message")


def _with_records(whole: Decoded, asked: bytes) -> Decoded:
    """The answer to several identifiers, record by record where there is one way only to part them."""
    identifiers = [int.from_bytes(asked[at : at + 2], "big") for at in range(1, len(asked) - 1, 2)]
    records = data.split_records(identifiers, whole.data[1:], {})
    if records is None:
        left_whole = f"data_record: {len(identifiers)} identifiers were asked, their records cannot be told apart"
        return Decoded(
            whole.service, whole.name, whole.kind, whole.data, whole.fields, whole.rest, whole.problems,
            (*whole.notes, left_whole),
        )  # fmt: skip
    fields, at = [whole.fields[0]], 1
    for did, record in records:
        fields.append(Field("data_identifier", did, at, 2, f"{did:04X} {DIDS.name(did)}"))
        fields.append(Field("data_record", record, at + 2, len(record)))
        at += 2 + len(record)
    return Decoded(whole.service, whole.name, whole.kind, whole.data, tuple(fields))
