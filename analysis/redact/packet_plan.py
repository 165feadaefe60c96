"""What else packets of diagnostics over Ethernet say, when the diagnostic messages in them have been changed.

Theory of operation: (1) an acknowledgement may hold a copy of what it acknowledges, and gets the new bytes. (2) The
vehicle announces its VIN and the addresses of its network parts. (3) Bytes that were sent again get what they got the
first time. (4) What is understood by nobody is replaced: messages of a maker's own, bytes behind a hole. (5) The
checksums follow.

Source: ISO 13400-2:2019, tables of the payload types (M); as in scapy 2.8.0 (contrib.automotive.doip).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.redact.checksums import moved_checksum
from analysis.redact.packet_places import NOWHERE, Carrier, Indices, PacketPlaces
from analysis.redact.replacements import Replacements
from canlog.capture.ip import SYN
from canlog.doip.headers import HEADER_BYTES, KINDS, Kind, read_header
from canlog.names.vin import LENGTH

_VIN, _IDENTITY, _OEM = "VIN", "identity on the network", "maker's own field"
_OWN_MESSAGE, _QUOTE, _NO_MESSAGE = "message of a maker's own", "copy in an acknowledgement", "bytes of no message"
#: Where messages that are no diagnostic ones hold what identifies: first byte, byte behind the last, what it is.
_FIELDS: Final = {
    Kind.ANNOUNCEMENT: ((0, LENGTH, _VIN), (19, 25, _IDENTITY), (25, 31, _IDENTITY)),
    Kind.IDENTIFICATION_REQUEST_VIN: ((0, LENGTH, _VIN),),
    Kind.IDENTIFICATION_REQUEST_EID: ((0, 6, _IDENTITY),),
    Kind.ACTIVATION_REQUEST: ((7, 11, _OEM),),
    Kind.ACTIVATION_RESPONSE: ((9, 13, _OEM),),
}
_QUOTED_FROM: Final = 5  # of an acknowledgement: addresses and a code stand in front
_TLS: Final = b"\x16\x03"  # what an encrypted connection begins with stays, so that the copy says so too


def announced_vins(places: PacketPlaces) -> Iterator[str]:
    """VINs that a vehicle announces or is asked for by."""
    contents = [(one.kind, bytes(one.data)) for one in places.others]
    contents += [
        (kind, carrier.datagram.payload[at:end])
        for carrier in places.carriers if not carrier.is_tcp for kind, at, end in _parts(carrier.datagram.payload)
    ]  # fmt: skip
    for kind, data in contents:
        for start, end, what in _fields(kind, len(data)):
            if what == _VIN:
                yield data[start:end].decode("ascii", "replace")


def _parts(payload: bytes) -> Iterator[tuple[int, int, int]]:
    """The messages in a UDP datagram: kind, where its content begins and ends."""
    at = 0
    while (header := read_header(payload[at : at + HEADER_BYTES])) is not None:
        kind, size = header
        at += HEADER_BYTES
        yield kind, at, min(at + size, len(payload))
        at += size


def _fields(kind: int, size: int) -> Iterator[tuple[int, int, str]]:
    if kind in KINDS:
        known = _FIELDS.get(Kind(kind), ())
        yield from ((start, end, what) for start, end, what in known if end <= size)
    else:
        yield 0, size, _OWN_MESSAGE


@dataclass
class PacketPlan:
    """Changes ``payload``, which holds the new bytes of diagnostic messages already; ``counts`` by kind."""

    places: PacketPlaces
    payload: npt.NDArray[np.uint8]
    replacements: Replacements

    def __post_init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self._old = self.places.table.payload
        self._known = np.zeros(len(self._old), dtype=np.bool_)

    def run(self) -> None:
        """All five steps."""
        self._acknowledgements()
        for message in self.places.others:
            self._understand(self.places.whole(message))
            self._message(message.kind, self.places.content(message))
        for carrier in self.places.carriers:
            if not carrier.is_tcp:
                self._datagram(carrier)
        self._repeated()
        for carrier in self.places.carriers:
            self._left_over(carrier)
            self._checksum(carrier)

    def _understand(self, at: Indices) -> None:
        self._known[at[at != NOWHERE]] = True

    def _acknowledgements(self) -> None:
        quoted = set()
        for one in self.places.heard:
            self._understand(self.places.whole(one.carried))
            said = self.places.content(one.carried)[4:]
            for message in one.quoted_by:
                quoted.add(id(message))
                self._quote(self.places.content(message)[_QUOTED_FROM:], said)
        for message in self.places.others:
            if message.kind in (Kind.ACKNOWLEDGE, Kind.REFUSED) and id(message) not in quoted:
                self._replace(self.places.content(message)[_QUOTED_FROM:], _QUOTE)

    def _quote(self, at: Indices, said: Indices) -> None:
        same = at[: len(said)]
        source = said[: len(same)]
        whole = len(same) == len(at) and not (same == NOWHERE).any() and not (source == NOWHERE).any()
        if not whole or (self._old[same] != self._old[source]).any():
            self._replace(at, _QUOTE)
        else:
            self.counts[_QUOTE] += bool((self.payload[source] != self._old[source]).any())
            self.payload[same] = self.payload[source]

    def _message(self, kind: int, at: Indices) -> None:
        for start, end, what in _fields(kind, len(at)):
            self._replace(at[start:end], what)

    def _datagram(self, carrier: Carrier) -> None:
        for kind, start, end in _parts(carrier.datagram.payload):
            self._known[carrier.start + start - HEADER_BYTES : carrier.start + end] = True
            self._message(kind, np.arange(carrier.start + start, carrier.start + end, dtype=np.int64))

    def _replace(self, at: Indices, what: str) -> None:
        at = at[at != NOWHERE]
        old = self._old[at].tobytes()
        draw = {_VIN: self.replacements.vin, _IDENTITY: self.replacements.network_part}
        new = draw.get(what, self.replacements.octets)(old)
        self.counts[what] += old != new
        self.payload[at] = np.frombuffer(new, dtype=np.uint8)

    def _repeated(self) -> None:
        """Bytes with the sequence number of a byte that was understood, and equal to it."""
        ways: dict[object, list[Carrier]] = {}
        for carrier in self.places.carriers:
            if carrier.is_tcp and carrier.datagram.payload:
                one = carrier.datagram
                ways.setdefault((one.source, one.source_port, one.target, one.target_port), []).append(carrier)
        for carriers in ways.values():
            at = np.concatenate([np.arange(one.start, one.end) for one in carriers])
            number = np.concatenate([_numbers(one) for one in carriers])
            known = self._known[at]
            order = np.argsort(number[known], kind="stable")
            first = at[known][order]
            found = np.searchsorted(number[known][order], number[~known])
            sought = at[~known]
            inside = found < len(first)
            sought, source = sought[inside], first[found[inside]]
            same = (number[known][order][found[inside]] == number[~known][inside]) & (
                self._old[source] == self._old[sought]
            )
            self.payload[sought[same]] = self.payload[source[same]]
            self._known[sought[same]] = True

    def _left_over(self, carrier: Carrier) -> None:
        strange = ~self._known[carrier.start : carrier.end]
        if carrier.datagram.payload.startswith(_TLS):
            strange[: len(_TLS)] = False
        edges = np.flatnonzero(np.diff(strange.astype(np.int8), prepend=0, append=0))
        for start, end in list(pairwise(edges.tolist()))[::2]:
            self._replace(np.arange(carrier.start + start, carrier.start + end, dtype=np.int64), _NO_MESSAGE)

    def _checksum(self, carrier: Carrier) -> None:
        table = self.places.table
        begin = int(table.offset[carrier.row])
        end = begin + int(table.length[carrier.row])
        self.payload[carrier.end : end] = 0  # fill bytes of the link
        old, new = table.data(carrier.row), self.payload[begin:end].tobytes()
        if old != new:
            at, moved = moved_checksum(carrier.datagram, old, new)
            self.payload[begin + at : begin + at + len(moved)] = np.frombuffer(moved, dtype=np.uint8)


def _numbers(carrier: Carrier) -> Indices:
    """The sequence number of each byte. RFC 9293, 3.4."""
    first = carrier.datagram.sequence + bool(carrier.datagram.flags & SYN)
    return (np.arange(carrier.end - carrier.start, dtype=np.int64) + first) % (1 << 32)
