"""Does this response belong to that request, and does a request need one?

The first byte is not enough: requests overlap and answers come late, so everything that a response repeats is
compared (identifier, routine, sub-function, block counter). A negative response repeats the service only.

What is repeated, and when silence is asked for, differs by dialect: in UDS bit 7 of the sub-function, in KWP2000
a byte of its own, in GMW3110 by service.

Source: ISO 14229-1:2020, 8 (responses, tables of server behaviour) (M); suppression rules agree with the
documentation of the package ``uds`` (ed5bfcc) and two public articles on clause 7.5. Older dialects: see ``kwp`` and
``gmw3110``.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from canlog.names.nrc import nrcs
from canlog.services import gmw3110, kwp, obd
from canlog.services.decode import decode_request, decode_response, dialect_named
from canlog.services.layout import Decoded
from canlog.services.negative import NEGATIVE_RESPONSE, RESPONSE_PENDING
from canlog.services.table import RESPONSE_OFFSET


class Answer(StrEnum):
    """What a response is to a request."""

    POSITIVE = "positive"
    NEGATIVE = "negative"
    PENDING = "pending"
    NONE = "none"  # belongs to another request, or to none


@dataclass(frozen=True, slots=True)
class Match:
    """How a response stands to a request; true where it belongs to it."""

    answer: Answer
    why: str
    nrc: int | None = None
    dialect: str = "uds"

    def __bool__(self) -> bool:
        return self.answer is not Answer.NONE

    @property
    def is_final(self) -> bool:
        """True where nothing more is due: positive, or negative with a final code (21 asks for a repeat)."""
        if self.answer is Answer.NEGATIVE and self.nrc is not None:
            return nrcs(self.dialect)[self.nrc].is_final
        return self.answer is Answer.POSITIVE


#: The fields that a positive response repeats from its request. 22 is apart: see ``_reads_one_of``.
ECHOES: Final[dict[int, tuple[str, ...]]] = {
    0x10: ("sub_function",),
    0x11: ("sub_function",),
    0x19: ("sub_function",),
    0x24: ("data_identifier",),
    0x27: ("sub_function",),
    0x28: ("sub_function",),
    0x29: ("sub_function",),
    0x2C: ("sub_function", "dynamically_defined_data_identifier"),
    0x2E: ("data_identifier",),
    0x2F: ("data_identifier", "input_output_control_parameter"),
    0x31: ("sub_function", "routine_identifier"),
    0x36: ("block_sequence_counter",),
    0x38: ("mode_of_operation",),
    0x3D: ("address_and_length_format_identifier", "memory_address", "memory_size"),
    0x3E: ("sub_function",),
    0x83: ("sub_function",),
    0x85: ("sub_function",),
    0x86: ("sub_function",),
    0x87: ("sub_function",),
    **obd.ECHOES,
}

#: The same by dialect.
ECHOES_BY_DIALECT: Final[dict[str, dict[int, tuple[str, ...]]]] = {
    "uds": ECHOES,
    "kwp2000": {**obd.ECHOES, **kwp.ECHOES},
    "gmw3110": {**obd.ECHOES, **gmw3110.ECHOES},
    "obd": obd.ECHOES,
}

#: Reports of 19 whose answer repeats the code asked.
_REPORTS_OF_ONE_CODE: Final = frozenset({0x04, 0x06, 0x10, 0x18, 0x19})

#: Services whose answer begins with one of the identifiers asked (some may be left out).
_OBD_SEVERAL: Final = {
    0x01: "parameter_identifier",
    0x02: "parameter_identifier",
    0x06: "monitor_identifier",
    0x09: "infotype",
}
_ASKS_SEVERAL: Final[dict[str, dict[int, str]]] = {
    "uds": {**_OBD_SEVERAL, 0x22: "data_identifier"},
    "kwp2000": _OBD_SEVERAL,
    "gmw3110": {**_OBD_SEVERAL, 0x22: "parameter_identifier"},
    "obd": _OBD_SEVERAL,
}


_TRANSFER_DATA: Final = 0x36
_SAME_COUNTER: Final = Match(Answer.POSITIVE, "repeats service, block sequence counter", dialect="uds")


def answers(request: bytes, response: bytes, dialect: str = "uds") -> Match:
    """Whether ``response`` belongs to ``request``, what kind of answer it is, and by what.

    Raises:
        ValueError: no such dialect.
    """
    if not request or not response:
        return Match(Answer.NONE, "an empty message")
    if response[0] == NEGATIVE_RESPONSE:
        return _negative(request, response, dialect)
    if response[0] != request[0] + RESPONSE_OFFSET:
        return Match(Answer.NONE, f"service: {request[0]:02X} asked, {response[0]:02X} answered")
    if request[0] == _TRANSFER_DATA and dialect == "uds" and len(request) > 1 and request[1:2] == response[1:2]:
        return _SAME_COUNTER  # the answer to a block, thousands of which make a download: no need to decode it
    asked, answered = decode_request(request, dialect), decode_response(response, dialect)
    several = _ASKS_SEVERAL[dialect].get(request[0])
    if several is not None:
        return _reads_one_of(asked, answered, several)
    if dialect != "uds" and (wrong := _differs_by_place(request, response, dialect)):
        return Match(Answer.NONE, wrong)
    names = ECHOES_BY_DIALECT[dialect].get(request[0], ())
    if dialect == "uds" and request[0] == 0x19 and asked.get("sub_function") in _REPORTS_OF_ONE_CODE:
        names = (*names, "dtc")
    for name in names:
        if name in asked and asked.get(name) != answered.get(name):
            return Match(Answer.NONE, f"{name}: {_shown(asked, name)} asked, {_shown(answered, name)} answered")
    return Match(Answer.POSITIVE, f"repeats {', '.join(('service', *names))}".replace("_", " "), dialect=dialect)


def _negative(request: bytes, response: bytes, dialect: str) -> Match:
    if len(response) < 3:
        return Match(Answer.NONE, f"a negative response of {len(response)} bytes")
    if response[1] != request[0]:
        return Match(Answer.NONE, f"service: {request[0]:02X} asked, refusal of {response[1]:02X}")
    code = response[2]
    answer = Answer.PENDING if code == RESPONSE_PENDING else Answer.NEGATIVE
    return Match(answer, f"refers to service {response[1]:02X}", code, dialect)


def _differs_by_place(request: bytes, response: bytes, dialect: str) -> str:
    """What is repeated without a field of its own: the counter of a KWP2000 block, the address of a GMW3110 read."""
    if dialect == "kwp2000" and request[0] == 0x36 and len(request) > 1 and len(response) > 1:
        # Where the flavour has no counter, the answer to a download has no byte at all.
        return "" if request[1] == response[1] else f"counter: {request[1]:02X} asked, {response[1]:02X} answered"
    if dialect == "gmw3110" and request[0] == 0x23:
        address = request[1 : len(request) - 2]
        return "" if response[1:].startswith(address) else f"memory_address: {address.hex().upper()} asked"
    return ""


def _reads_one_of(asked: Decoded, answered: Decoded, name: str) -> Match:
    first = answered.get(name)
    if first in asked.all(name):
        return Match(Answer.POSITIVE, f"repeats service, {name}".replace("_", " "))
    listed = ", ".join(one.text for one in asked.fields if one.name == name) or "nothing"
    return Match(Answer.NONE, f"{name}: {listed} asked, {_shown(answered, name)} answered")


def _shown(decoded: Decoded, name: str) -> str:
    return decoded.field(name).text if name in decoded else "nothing"


def is_pending(response: bytes, dialect: str = "uds") -> bool:
    """True for ``7F sid 78``, in every dialect. A message that begins with 78 is the positive answer to 38."""
    if len(response) < 3 or response[0] != NEGATIVE_RESPONSE or response[2] != RESPONSE_PENDING:
        return False
    return not nrcs(dialect)[RESPONSE_PENDING].is_final


def is_suppressed(request: bytes, dialect: str = "uds") -> bool:
    """True where the request itself asks the server not to send a positive response.

    UDS: bit 7 of the sub-function, only in services that have one (``22 F1 90`` and ``2F`` do not). KWP2000: byte 1
    is 02 in 28, 29, 3E, 85 and 86, and bit 7 means nothing (``10 85`` is answered). GMW3110: ``A5 03``.

    Raises:
        ValueError: no such dialect.
    """
    services = dialect_named(dialect).services
    if dialect == "kwp2000":
        return kwp.wants_no_answer(request)
    if dialect == "gmw3110":
        return gmw3110.wants_no_answer(request)
    return len(request) > 1 and services[request[0]].suppressible and bool(request[1] & 0x80)


class Silence(StrEnum):
    """What it means that no answer came to a request."""

    LOST = "lost"  # an answer was due: lost, dead, or not understood
    MAY_BE_SUCCESS = "may be success"  # suppressed: only a failure would have been answered
    NOT_HERE_OR_ABSENT = "not supported here or absent"  # functional: some refusals are kept back
    INTERRUPTED = "interrupted"  # a pending response promised a final one
    ELSEWHERE = "answered elsewhere"  # GMW3110 A9, AA: by frames of another id, without transport


def silence_means(
    request: bytes, functional: bool, pending_seen: bool = False, dialect: str = "uds"
) -> Silence:  # fmt: skip
    """What silence says after this request; ``pending_seen``: a 78 came, so a final answer is due in any case.

    Raises:
        ValueError: no such dialect.
    """
    if pending_seen:
        return Silence.INTERRUPTED
    if is_suppressed(request, dialect):
        return Silence.MAY_BE_SUCCESS
    if dialect == "gmw3110" and gmw3110.wants_no_answer(request, functional=functional):
        return Silence.MAY_BE_SUCCESS
    if dialect == "gmw3110" and request and request[0] in gmw3110.ANSWERED_BY_FRAMES:
        return Silence.ELSEWHERE
    return Silence.NOT_HERE_OR_ABSENT if functional else Silence.LOST


def expects_answer(request: bytes, functional: bool, dialect: str = "uds") -> bool:
    """True where the module asked must answer: physical, and not suppressed.

    A failure is answered even when suppressed; once a 78 was sent the final answer is due whatever bit 7 says
    (see :func:`silence_means`).

    Raises:
        ValueError: no such dialect.
    """
    return silence_means(request, functional, dialect=dialect) is Silence.LOST
