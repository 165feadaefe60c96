"""Diagnostic messages from packets of ISO 13400-2 (DoIP), beside those that ISO 15765-2 carries on CAN.

Theory of operation: each direction of a TCP connection is put in order (:mod:`canlog.doip.pieces`) and cut into
messages (:mod:`canlog.doip.headers`). Who sends to port 13400 is the tester. A diagnostic message names
tester and module by logical addresses, which make its link. An acknowledgement belongs to the oldest open request
between the same addresses; a request that was refused never reached its module and is kept as not
complete. What is said over UDP, and about the connection itself, becomes a note or a stray.

Messages wait until the end of the capture, because their acknowledgement may come late.

Source: ISO 13400-2:2019, clauses 7 to 9 (M).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

from canlog.capture.ip import RST, SYN, UDP, Datagram, address_text, read_datagram
from canlog.capture.pcap import DOIP_PORT
from canlog.doip import codes
from canlog.doip.headers import BYTES_LOST, ENCRYPTED, HEADER_BYTES, DoipMessage, DoipStream, Kind, read_header
from canlog.doip.pieces import Piece, Place, TcpStream
from canlog.frames import FrameTable
from canlog.isotp.addressing import Addressing, Direction, Link
from canlog.isotp.messages import NOT_REACHED, Anomaly, Message, Missing

NOT_DELIVERED: Final = "not-delivered"
NEGATIVE_ACKNOWLEDGE: Final = "negative-acknowledge"
ACTIVATION_REFUSED: Final = "routing-activation-refused"
CONNECTION_RESET: Final = "connection-reset"
CONNECTION_CLOSED: Final = "connection-closed"
CAPTURE_ENDED: Final = "capture-ended"
#: Different notes of one capture.
MOST_NOTES: Final = 12
#: Addresses of groups of modules. ISO 13400-2:2019, table 13 (M).
FUNCTIONAL: Final = range(0xE000, 0xF000)
_ADDRESSES: Final = 4  # bytes: source and target in front of the diagnostic data


@dataclass(eq=False)
class _Talk:
    """One diagnostic message, as long as its acknowledgement may come."""

    channel: str
    tester: int
    module: int  # or a group of modules
    direction: Direction
    message: DoipMessage
    acknowledged: list[int] = field(default_factory=list)  # lines
    refusal: Anomaly | None = None
    refused_as: str = ""  # reason
    quoted_by: list[DoipMessage] = field(default_factory=list)  # acknowledgements

    @property
    def data(self) -> bytes:
        return bytes(self.message.data[_ADDRESSES:])

    @property
    def link(self) -> Link:
        """Its link, without evidence."""
        is_group = self.direction is Direction.REQUEST and self.module in FUNCTIONAL
        return Link(
            channel=self.channel,
            request_id=self.tester,
            response_id=None if is_group else self.module,
            request_address=self.module if is_group else None,
            addressing=Addressing.DOIP,
        )


class Heard(NamedTuple):
    """A diagnostic message as it stands in the packets, and those that acknowledge it with a copy of its bytes."""

    message: Message
    carried: DoipMessage  # tester's and module's address in front of the diagnostic data
    quoted_by: tuple[DoipMessage, ...]


@dataclass(eq=False)
class _Side:
    """One direction of a connection."""

    stream: TcpStream = field(default_factory=TcpStream)
    messages: DoipStream = field(default_factory=DoipStream)


@dataclass(eq=False)
class _Connection:
    channel: str
    sides: dict[bool, _Side] = field(default_factory=lambda: {True: _Side(), False: _Side()})  # by: from the tester?
    open: list[_Talk] = field(default_factory=list)  # requests without acknowledgement
    is_reset: bool = False


class DoipReassembler:
    """Feed every table of a capture, then ask for links, messages, strays and notes."""

    def __init__(self) -> None:
        self._connections: dict[tuple[bytes, int, bytes, int], _Connection] = {}
        self._talks: list[_Talk] = []
        self._others: list[DoipMessage] = []
        self._strays: list[Anomaly] = []
        self._notes: dict[str, str] = {}  # a sentence, with the place where it is first true
        self._activated: dict[tuple[str, int], int] = {}  # line by channel and tester
        self._is_finished = False

    def feed(self, table: FrameTable) -> None:
        """The packets of a table; frames of CAN are left alone."""
        rows = table.packets().nonzero()[0].tolist()
        columns = (table.line[rows], table.time_ns[rows], table.position[rows], table.channel[rows])
        for row, line, time_ns, position, code in zip(rows, *(each.tolist() for each in columns), strict=True):
            datagram = read_datagram(table.data(row))
            if datagram is None:
                continue
            place = Place(line, time_ns, position)
            if datagram.protocol == UDP:
                self._hear_udp(datagram, place)
            else:
                self._hear_tcp(datagram, place, table.channels[code])

    # -- after the last table

    def links(self, user: Sequence[Link] = ()) -> list[Link]:
        """Who talked to whom, the user's links first; no channel means every one with these addresses."""
        self._finish()
        found: dict[str, list[_Talk]] = {}
        for talk in self._talks:
            found.setdefault(talk.link.key, []).append(talk)
        named = [link for wish in user for link in _on_channels(wish, found)]
        taken = {link.key for link in named}
        seen = [
            replace(talks[0].link, how=self._how(talks)) for key, talks in sorted(found.items()) if key not in taken
        ]
        return named + sorted(seen, key=lambda link: (link.channel, link.functional, link.key))

    def messages(self, links: Sequence[Link]) -> tuple[Message, ...]:
        """The messages of given links, in order of completion."""
        self._finish()
        by_key = {link.key: link for link in reversed(links)}
        told = [_message(talk, by_key[talk.link.key]) for talk in self._talks if talk.link.key in by_key]
        return tuple(sorted(told, key=lambda message: (message.last_line, message.first_line)))

    def heard(self) -> list[Heard]:
        """Every diagnostic message, of whatever link, with where its bytes came from."""
        self._finish()
        return [Heard(_message(talk, talk.link), talk.message, tuple(talk.quoted_by)) for talk in self._talks]

    def others(self) -> list[DoipMessage]:
        """The messages of the connections that are no diagnostic ones, whole or not."""
        self._finish()
        return self._others

    def strays(self) -> tuple[Anomaly, ...]:
        """Places where the connections are not as they should be."""
        self._finish()
        return tuple(sorted(self._strays, key=lambda stray: stray.line))

    def notes(self) -> tuple[str, ...]:
        """What was said about vehicle and connections."""
        self._finish()
        return tuple(f"{text} ({where})" if where else text for text, where in list(self._notes.items())[:MOST_NOTES])

    def _how(self, talks: Sequence[_Talk]) -> str:
        """The evidence of a link in plain words."""
        requests = [talk for talk in talks if talk.direction is Direction.REQUEST]
        answered = sum(bool(talk.acknowledged) for talk in requests)
        parts = [f"{len(talks)} diagnostic messages between these logical addresses"]
        if requests:
            parts.append(f"{answered} of {len(requests)} requests acknowledged")
        line = self._activated.get((talks[0].channel, talks[0].tester))
        return "; ".join([*parts, f"routing activated at packet {line}"] if line is not None else parts)

    def _finish(self) -> None:
        if self._is_finished:
            return
        self._is_finished = True
        for connection in self._connections.values():
            self._end(connection, CAPTURE_ENDED)
            repeated = [side.stream for side in connection.sides.values() if side.stream.n_repeated]
            for stream in repeated:
                place = stream.first_repeat
                where = f"the first at packet {place.line}" if place is not None else ""
                self._notes[f"{stream.n_repeated} TCP segments were sent or recorded again"] = where

    # -- packets

    def _hear_tcp(self, datagram: Datagram, place: Place, channel: str) -> None:
        is_tester = datagram.target_port == DOIP_PORT
        ends = (datagram.source, datagram.source_port), (datagram.target, datagram.target_port)
        tester, vehicle = ends if is_tester else ends[::-1]
        connection = self._connections.setdefault((*tester, *vehicle), _Connection(channel))
        side = connection.sides[is_tester]
        if side.stream.is_other(datagram):
            self._end_side(connection, is_tester, CONNECTION_CLOSED)
            side = connection.sides[is_tester] = _Side()
            connection.open.clear()
            connection.is_reset = False
        if datagram.flags & RST:
            self._reset(connection, is_tester, place)
            return
        if datagram.flags & SYN:
            side.messages.begin()
        self._take_all(connection, is_tester, side.stream.feed(datagram, place))
        if side.stream.is_closed:
            self._end_side(connection, is_tester, CONNECTION_CLOSED)

    def _reset(self, connection: _Connection, is_tester: bool, place: Place) -> None:
        self._end(connection, CONNECTION_RESET)
        if not connection.is_reset:
            who = "the tester" if is_tester else "the vehicle"
            text = f"{who} broke off the connection (TCP reset)"
            self._strays.append(Anomaly(CONNECTION_RESET, place.line, place.time_ns, text))
        connection.is_reset = True

    def _end(self, connection: _Connection, reason: str) -> None:
        for is_tester in (True, False):
            self._end_side(connection, is_tester, reason)

    def _end_side(self, connection: _Connection, is_tester: bool, reason: str) -> None:
        side = connection.sides[is_tester]
        self._take_all(connection, is_tester, side.stream.flush())
        for message in side.messages.finish(reason):
            self._take(connection, is_tester, message)

    def _take_all(self, connection: _Connection, is_tester: bool, pieces: Iterable[Piece]) -> None:
        side = connection.sides[is_tester]
        for piece in pieces:
            if piece.lost:
                connection.open.clear()  # an acknowledgement may be lost: the next belongs to nobody knows which
            for message in side.messages.feed(piece):
                self._take(connection, is_tester, message)
        for stray in side.messages.strays:
            if stray.rule == ENCRYPTED:
                self._notes.setdefault(stray.text, f"packet {stray.line}")
        self._strays += side.messages.strays
        side.messages.strays.clear()

    # -- messages

    def _take(self, connection: _Connection, is_tester: bool, message: DoipMessage) -> None:
        if message.kind == Kind.DIAGNOSTIC:
            self._take_diagnostic(connection, is_tester, message)
            return
        self._others.append(message)
        if is_tester or not message.is_whole:
            return
        if message.kind in (Kind.ACKNOWLEDGE, Kind.REFUSED):
            self._take_acknowledge(connection, message)
        elif message.kind == Kind.HEADER_REFUSED and connection.open and message.data:
            code = codes.said(codes.HEADER_REFUSED, message.data[0])
            _refuse(connection.open.pop(), message, f"the vehicle refused the message's header: {code}")
        elif message.kind == Kind.ACTIVATION_RESPONSE and len(message.data) >= 5:
            self._take_activation(connection, message)

    def _take_diagnostic(self, connection: _Connection, is_tester: bool, message: DoipMessage) -> None:
        if len(message.data) < _ADDRESSES or any(hole.start < _ADDRESSES for hole in message.missing):
            text = "a diagnostic message without its addresses"
            self._strays.append(Anomaly(BYTES_LOST, message.begin.line, message.begin.time_ns, text))
            return
        source, target = (int.from_bytes(message.data[at : at + 2], "big") for at in (0, 2))
        tester, module = (source, target) if is_tester else (target, source)
        direction = Direction.REQUEST if is_tester else Direction.RESPONSE
        talk = _Talk(connection.channel, tester, module, direction, message)
        self._talks.append(talk)
        if is_tester and message.is_whole:
            connection.open.append(talk)

    def _take_acknowledge(self, connection: _Connection, message: DoipMessage) -> None:
        if len(message.data) < 5:
            return
        module, tester = (int.from_bytes(message.data[at : at + 2], "big") for at in (0, 2))
        code, quoted = message.data[4], bytes(message.data[5:])
        between = [talk for talk in connection.open if (talk.tester, talk.module) == (tester, module)]
        meant = [talk for talk in between if talk.data.startswith(quoted)] or between
        if not meant:
            return
        talk = meant[0]
        talk.quoted_by.append(message)
        older = between[: between.index(talk) + 1]
        connection.open = [other for other in connection.open if other not in older]
        if message.kind == Kind.ACKNOWLEDGE:
            talk.acknowledged.append(message.begin.line)
        else:
            text = f"the vehicle did not pass the message on: {codes.said(codes.MESSAGE_REFUSED, code)}"
            _refuse(talk, message, text, NOT_REACHED if code in codes.MODULE_SILENT else NOT_DELIVERED)

    def _take_activation(self, connection: _Connection, message: DoipMessage) -> None:
        tester, code = int.from_bytes(message.data[:2], "big"), message.data[4]
        line = message.begin.line
        if code == codes.ACTIVATED:
            self._activated.setdefault((connection.channel, tester), line)
            return
        text = f"routing activation of tester {tester:04X}: {codes.said(codes.ACTIVATION, code)}"
        self._notes.setdefault(text, f"packet {line}")
        if code != codes.CONFIRMATION_REQUIRED:
            self._strays.append(Anomaly(ACTIVATION_REFUSED, line, message.begin.time_ns, text))

    # -- UDP

    def _hear_udp(self, datagram: Datagram, place: Place) -> None:
        for kind, data in _udp_messages(datagram.payload):
            text = _said_over_udp(kind, data)
            if text:
                text = f"{address_text(datagram.source)} {text}"
                self._notes.setdefault(text, f"packet {place.line}")


def _on_channels(wish: Link, found: Iterable[str]) -> list[Link]:
    if wish.channel:
        return [wish]
    return [replace(wish, channel=key.partition(":")[0]) for key in sorted(found) if key.endswith(wish.key)] or [wish]


def _refuse(talk: _Talk, message: DoipMessage, text: str, reason: str = NOT_DELIVERED) -> None:
    talk.refused_as = reason
    talk.refusal = Anomaly(NEGATIVE_ACKNOWLEDGE, message.begin.line, message.begin.time_ns, text)


def _udp_messages(payload: bytes) -> Iterator[tuple[int, bytes]]:
    while (header := read_header(payload[:HEADER_BYTES])) is not None:
        kind, length = header
        yield kind, payload[HEADER_BYTES : HEADER_BYTES + length]
        payload = payload[HEADER_BYTES + length :]


def _said_over_udp(kind: int, data: bytes) -> str:
    """A sentence about the vehicle; the sender stands in front of it."""
    if kind == Kind.ANNOUNCEMENT and len(data) >= 32:
        vin = data[:17].decode("ascii", "replace") if data[:17].isalnum() else data[:17].hex().upper()
        further = {0x00: "", 0x10: ", routing activation needed"}.get(data[31], f", further action {data[31]:02X}")
        return f"announces VIN {vin}, logical address {data[17:19].hex().upper()}{further}"
    if kind == Kind.POWER_MODE_RESPONSE and len(data) >= 1:
        mode = {0: "not ready", 1: "ready", 2: "not supported"}.get(data[0], f"reserved {data[0]:02X}")
        return f"says that its power mode for diagnostics is: {mode}"
    return ""


def _message(talk: _Talk, link: Link) -> Message:
    message = talk.message
    reason = message.reason or talk.refused_as
    return Message(
        link=link,
        direction=talk.direction,
        begin_ns=message.begin.time_ns,
        end_ns=message.end.time_ns,
        first_line=message.begin.line,
        last_line=message.end.line,
        position=message.begin.position,
        n_frames=message.n_segments,
        complete=not reason,
        reason=reason,
        length=message.length - _ADDRESSES,
        data=talk.data,
        missing=_missing(message),
        anomalies=(talk.refusal,) if talk.refusal is not None else (),
        flow_control_lines=tuple(talk.acknowledged),
        longest_gap_ns=message.longest_gap_ns,
    )


def _missing(message: DoipMessage) -> tuple[Missing, ...]:
    """The holes, and what never came, as ranges of the diagnostic data."""
    holes = [Missing(hole.start - _ADDRESSES, hole.end - _ADDRESSES) for hole in message.missing]
    end = holes[-1].end if holes else 0
    seen = max(len(message.data) - _ADDRESSES, end)
    if seen < message.length - _ADDRESSES:
        holes.append(Missing(seen, message.length - _ADDRESSES))
    return tuple(holes)
