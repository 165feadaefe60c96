"""Does this response belong to that request, and does a request need one?

The first byte is not enough: requests overlap and answers come late, so everything that a response repeats is
compared (identifier, routine, sub-function, block counter). A negative response repeats the service only.

Source: ISO 14229-1:2020, 8 (responses, tables of server behaviour) (M); suppression rules agree with the
documentation of the package ``uds`` (ed5bfcc) and two public articles on clause 7.5.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from canlog.names.nrc import NRCS
from canlog.services.decode import decode_request, decode_response
from canlog.services.layout import Decoded
from canlog.services.negative import NEGATIVE_RESPONSE, RESPONSE_PENDING
from canlog.services.table import RESPONSE_OFFSET, SERVICES


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

    def __bool__(self) -> bool:
        return self.answer is not Answer.NONE

    @property
    def is_final(self) -> bool:
        """True where nothing more is due: positive, or negative with a final code (21 asks for a repeat)."""
        if self.answer is Answer.NEGATIVE and self.nrc is not None:
            return NRCS[self.nrc].is_final
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
    0x08: ("test_identifier",),
}

#: Reports of 19 whose answer repeats the code asked.
_REPORTS_OF_ONE_CODE: Final = frozenset({0x04, 0x06, 0x10, 0x18, 0x19})

#: Services whose answer begins with one of the identifiers asked (some may be left out).
_ASKS_SEVERAL: Final = {
    0x22: "data_identifier",
    0x01: "parameter_identifier",
    0x02: "parameter_identifier",
    0x06: "monitor_identifier",
    0x09: "infotype",
}


def answers(request: bytes, response: bytes) -> Match:
    """Whether ``response`` belongs to ``request``, what kind of answer it is, and by what."""
    if not request or not response:
        return Match(Answer.NONE, "an empty message")
    if response[0] == NEGATIVE_RESPONSE:
        return _negative(request, response)
    if response[0] != request[0] + RESPONSE_OFFSET:
        return Match(Answer.NONE, f"service: {request[0]:02X} asked, {response[0]:02X} answered")
    asked, answered = decode_request(request), decode_response(response)
    if request[0] in _ASKS_SEVERAL:
        return _reads_one_of(asked, answered, _ASKS_SEVERAL[request[0]])
    names = ECHOES.get(request[0], ())
    if request[0] == 0x19 and asked.get("sub_function") in _REPORTS_OF_ONE_CODE:
        names = (*names, "dtc")
    for name in names:
        if name in asked and asked.get(name) != answered.get(name):
            return Match(Answer.NONE, f"{name}: {_shown(asked, name)} asked, {_shown(answered, name)} answered")
    return Match(Answer.POSITIVE, f"repeats {', '.join(('service', *names))}".replace("_", " "))


def _negative(request: bytes, response: bytes) -> Match:
    if len(response) < 3:
        return Match(Answer.NONE, f"a negative response of {len(response)} bytes")
    if response[1] != request[0]:
        return Match(Answer.NONE, f"service: {request[0]:02X} asked, refusal of {response[1]:02X}")
    code = response[2]
    answer = Answer.PENDING if code == RESPONSE_PENDING else Answer.NEGATIVE
    return Match(answer, f"refers to service {response[1]:02X}", code)


def _reads_one_of(asked: Decoded, answered: Decoded, name: str) -> Match:
    first = answered.get(name)
    if first in asked.all(name):
        return Match(Answer.POSITIVE, f"repeats service, {name}".replace("_", " "))
    listed = ", ".join(one.text for one in asked.fields if one.name == name) or "nothing"
    return Match(Answer.NONE, f"{name}: {listed} asked, {_shown(answered, name)} answered")


def _shown(decoded: Decoded, name: str) -> str:
    return decoded.field(name).text if name in decoded else "nothing"


def is_pending(response: bytes) -> bool:
    """True for ``7F sid 78``. A message that begins with 78 is the positive answer to 38."""
    return len(response) >= 3 and response[0] == NEGATIVE_RESPONSE and response[2] == RESPONSE_PENDING


def is_suppressed(request: bytes) -> bool:
    """True where bit 7 of the sub-function asks the server not to send a positive response.

    Only services with a sub-function know the bit: ``22 F1 90`` and ``2F`` do not.
    """
    return len(request) > 1 and SERVICES[request[0]].suppressible and bool(request[1] & 0x80)


class Silence(StrEnum):
    """What it means that no answer came to a request."""

    LOST = "lost"  # an answer was due: lost, dead, or not understood
    MAY_BE_SUCCESS = "may be success"  # suppressed: only a failure would have been answered
    NOT_HERE_OR_ABSENT = "not supported here or absent"  # functional: some refusals are kept back
    INTERRUPTED = "interrupted"  # a pending response promised a final one


def silence_means(request: bytes, functional: bool, pending_seen: bool = False) -> Silence:
    """What silence says after this request; ``pending_seen``: a 78 came, so a final answer is due in any case."""
    if pending_seen:
        return Silence.INTERRUPTED
    if is_suppressed(request):
        return Silence.MAY_BE_SUCCESS
    return Silence.NOT_HERE_OR_ABSENT if functional else Silence.LOST


def expects_answer(request: bytes, functional: bool) -> bool:
    """True where the module asked must answer: physical, and not suppressed.

    A failure is answered even when suppressed; once a 78 was sent the final answer is due whatever bit 7 says
    (see :func:`silence_means`).
    """
    return silence_means(request, functional) is Silence.LOST
