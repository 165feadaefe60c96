"""Who talks to whom: the address of a link and its text form.

The text form is ``channel:request>response``; with an address byte (extended and mixed addressing)
``can0:6F1.1A>61A.F1``. Ids are hex, 3 digits for 11 bit, 8 for 29 bit. A functional link has no
response id: ``can0:7DF>``. ``:`` in place of ``>`` is accepted from users (job sheets).

Source: ISO 15765-2:2016, 10.3 (M); layouts confirmed in can-isotp 2.0.7 and the Linux kernel documentation.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from enum import StrEnum

from canlog.errors import LinkError


class Addressing(StrEnum):
    """How a link's frames carry addresses."""

    NORMAL = "normal"
    NORMAL_FIXED = "normal-fixed"
    EXTENDED = "extended"
    MIXED = "mixed"


class Direction(StrEnum):
    """From the tester or from the module."""

    REQUEST = "request"
    RESPONSE = "response"


@dataclass(frozen=True, slots=True)
class Link:
    """A tester and a module on one channel, and why we believe so."""

    channel: str
    request_id: int
    response_id: int | None  # None: functional, answers come on other links
    request_extended: bool = False  # 29-bit request id
    response_extended: bool = False
    request_address: int | None = None  # address byte in front of the PCI, of the request's frames
    response_address: int | None = None
    addressing: Addressing = Addressing.NORMAL
    how: str = ""  # the evidence, in words
    guessed: bool = False  # rests on custom (+8, naming) rather than on traffic
    key: str = field(init=False, repr=False, compare=False)  # ``can0:7E0>7E8``; see the module's docstring

    def __post_init__(self) -> None:
        request = id_text(self.request_id, self.request_extended, self.request_address)
        response = ""
        if self.response_id is not None:
            response = id_text(self.response_id, self.response_extended, self.response_address)
        object.__setattr__(self, "key", f"{self.channel}:{request}>{response}")

    @property
    def functional(self) -> bool:
        """True for requests to a group of modules."""
        return self.response_id is None


def id_text(can_id: int, extended: bool, address: int | None = None) -> str:
    """An id as hex text, 3 or 8 digits, with its address byte where there is one."""
    text = f"{can_id:08X}" if extended else f"{can_id:03X}"
    return text if address is None else f"{text}.{address:02X}"


_SIDE = r"([0-9A-Fa-f]{3}|[0-9A-Fa-f]{8})(?:\.([0-9A-Fa-f]{2}))?"
_KEY = re.compile(rf"(?:(?P<channel>[^:>]+):)?(?P<request>{_SIDE})[>:](?P<response>{_SIDE})?")


def parse_link(text: str) -> Link:
    """A link from its key; ``channel`` is empty when the text names none (any channel).

    Raises:
        LinkError: the text has not the form of a key.
    """
    match = _KEY.fullmatch(text.strip())
    if match is None:
        raise LinkError(f"{text!r} is not a link", hint="write can0:7E0>7E8, 18DA2AF1>18DAF12A or 6F1.1A>61A.F1")
    request, request_address = _side(match["request"])
    response, response_address = _side(match["response"]) if match["response"] else (None, None)
    has_address = request_address is not None or response_address is not None
    return Link(
        channel=match["channel"] or "",
        request_id=request,
        response_id=response,
        request_extended=len(match["request"].split(".")[0]) == 8,
        response_extended=response is not None and len(match["response"].split(".")[0]) == 8,
        request_address=request_address,
        response_address=response_address,
        addressing=Addressing.EXTENDED if has_address else addressing_of(request, len(match["request"]) == 8),
        how="named by the user",
    )


def _side(text: str) -> tuple[int, int | None]:
    can_id, _, address = text.partition(".")
    return int(can_id, 16), int(address, 16) if address else None


#: Bits 28-26 are the priority and free; 18DA… and 18DB… are only the usual ones. ISO 15765-2:2016, 10.3.3 (M).
PRIORITY_MASK = 0x03FF0000


def addressing_of(can_id: int, extended: bool) -> Addressing:
    """The addressing that an id alone gives away."""
    if extended and can_id & PRIORITY_MASK in (0x00DA0000, 0x00DB0000):
        return Addressing.NORMAL_FIXED
    if extended and can_id & PRIORITY_MASK in (0x00CE0000, 0x00CD0000):
        return Addressing.MIXED
    return Addressing.NORMAL
