"""Who talks to whom: the address of a link and its text form.

The text form is ``channel:request>response``; with an address byte (extended and mixed addressing)
``can0:6F1.1A>61A.F1``. Ids are hex, 3 digits for 11 bit, 8 for 29 bit. A functional link has no
response id: ``can0:7DF>``. ``:`` in place of ``>`` is accepted from users (job sheets).

Over Ethernet (ISO 13400-2) the two ids are the logical addresses of tester and module, 4 digits each:
``doip:0E00>1010``; a functional address stands behind the tester's, ``doip:0E00.E400>``.

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
    DOIP = "doip"  # logical addresses over Ethernet, ISO 13400-2


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
        object.__setattr__(self, "key", f"{self.channel}:{self._side(False)}>{self._side(True)}")

    def _side(self, response: bool) -> str:
        """One half of the key."""
        address = self.response_address if response else self.request_address
        sender = self.response_text if response else self.request_text
        if sender is None:
            return ""
        return sender if address is None else f"{sender}.{self.address_text(address)}"

    @property
    def request_text(self) -> str:
        """The request id, or the tester's logical address, in hex."""
        return self._text(self.request_id, self.request_extended)

    @property
    def response_text(self) -> str | None:
        """The response id, or the module's logical address, in hex; None for a functional link."""
        return None if self.response_id is None else self._text(self.response_id, self.response_extended)

    def address_text(self, address: int) -> str:
        """An address byte, or a functional logical address, in hex."""
        return f"{address:04X}" if self.addressing is Addressing.DOIP else f"{address:02X}"

    def _text(self, number: int, extended: bool) -> str:
        return f"{number:04X}" if self.addressing is Addressing.DOIP else id_text(number, extended)

    @property
    def functional(self) -> bool:
        """True for requests to a group of modules."""
        return self.response_id is None


def id_text(can_id: int, extended: bool) -> str:
    """An id as hex text, 3 or 8 digits."""
    return f"{can_id:08X}" if extended else f"{can_id:03X}"


_SIDE = r"(?:[0-9A-Fa-f]{3}|[0-9A-Fa-f]{8})(?:\.[0-9A-Fa-f]{2})?"
_LOGICAL = r"[0-9A-Fa-f]{4}"
_CHANNEL = r"(?:(?P<channel>[^:>]+):)?"
_KEY = re.compile(rf"{_CHANNEL}(?P<request>{_SIDE})[>:](?P<response>{_SIDE})?")
_DOIP_KEY = re.compile(rf"{_CHANNEL}(?P<tester>{_LOGICAL})(?:[>:](?P<module>{_LOGICAL})|\.(?P<group>{_LOGICAL})[>:])")


def parse_link(text: str) -> Link:
    """A link from its key; ``channel`` is empty when the text names none (any channel).

    Raises:
        LinkError: the text has not the form of a key.
    """
    if (match := _DOIP_KEY.fullmatch(text.strip())) is not None:
        return _doip_link(match)
    match = _KEY.fullmatch(text.strip())
    if match is None:
        hint = "write 7E0:7E8, can0:18DA2AF1:18DAF12A, 6F1.1A:61A.F1 or doip:0E00:1010"
        raise LinkError(f"{text!r} is not a link", hint=hint)
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


def _doip_link(match: re.Match[str]) -> Link:
    return Link(
        channel=match["channel"] or "",
        request_id=int(match["tester"], 16),
        response_id=int(match["module"], 16) if match["module"] else None,
        request_address=int(match["group"], 16) if match["group"] else None,
        addressing=Addressing.DOIP,
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
