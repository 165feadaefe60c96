"""Who seems to speak ISO 15765-2: evidence gathered frame table by frame table.

Most ids of a capture are cyclic application frames; :mod:`canlog.isotp.prefilter` keeps them away. Only the
few ids left reach a loop, and of them only frames that begin a message, flow control, and the first
consecutive frame.

What counts is structure, never a single look: a first frame that another id answers with flow control
and that then goes on; a request whose service another id answers. Memory grows with the number of
ids, not with frames.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from canlog.frames import FrameTable
from canlog.isotp.prefilter import Picked, Prefilter
from canlog.isotp.reassembly import N_BS_NS, ONE_FRAME_NS
from canlog.isotp.shapes import CONSECUTIVE, FIRST, FLOW, SINGLE

#: A module answers or asks for patience within this: the usual longest P2*. ISO 14229-2 (M).
ANSWER_NS: Final = 5_000_000_000
#: Transfers of one long message last no longer than this in practice: 4095 bytes at 100 ms a frame. D.
LONG_TRANSFER_NS: Final = 60_000_000_000
#: Stamps of one bus may be this much out of order (merged loggers). Common practice, no source.
DISORDER_NS: Final = 100_000_000
#: Open requests looked at for one response, newest first.
MOST_CANDIDATES: Final = 8
#: Frames of an id looked at without any answer before it is left alone.
MOST_UNANSWERED: Final = 4000
#: The same for first frames of which none was ever continued: a tester gives up long before.
MOST_VAIN: Final = 500

_NEGATIVE, _PENDING = 0x7F, 0x78
#: Bytes of the request that the positive response repeats, by service: sub-function (its bit 7 apart),
#: identifier, counter. ISO 14229-1:2020, 9-14 (M); 09, 1A, 21, 3B from SAE J1979 and ISO 14230-3 (M).
_ECHO: Final = {
    0x09: 1, 0x10: 1, 0x11: 1, 0x19: 1, 0x1A: 1, 0x21: 1, 0x22: 2, 0x24: 2, 0x27: 1, 0x28: 1, 0x2E: 2, 0x2F: 2,
    0x31: 3, 0x36: 1, 0x3B: 1, 0x3E: 1, 0x85: 1,
}  # fmt: skip
_WITH_SUBFUNCTION: Final = frozenset({0x10, 0x11, 0x19, 0x27, 0x28, 0x31, 0x3E, 0x83, 0x85, 0x86, 0x87})
#: Requests that a tester sends to groups and wants no answer to: service, sizes they can have, sub-functions with
#: bit 7 set. Which ones: common practice, no source; their form: ISO 14229-1:2020, 10 (M).
_GROUP_REQUESTS: Final = {
    0x10: ({2}, range(0x81, 0x100)),
    0x28: ({3, 5}, range(0x80, 0x86)),
    0x3E: ({2}, range(0x80, 0x81)),
    0x85: ({2, 5}, range(0x81, 0x83)),
}


def is_request_service(byte: int) -> bool:
    """A byte that can begin a request: J1979 01-0A, ISO 14229-1 and 14230-3 10-3E and 81-BE."""
    return 0x01 <= byte <= 0x0A or 0x10 <= byte <= 0x3E or 0x81 <= byte <= 0xBE


@dataclass(slots=True)
class Question:
    """A request waiting for its answer."""

    payload: bytes  # as far as the frame shows it
    time_ns: int
    window_ns: int
    answered_by: set[Station] = field(default_factory=set)


@dataclass(slots=True)
class OpenFirst:
    """A first frame waiting for flow control and its first consecutive frame."""

    time_ns: int
    is_response: bool
    controllers: list[Station] = field(default_factory=list)


@dataclass(slots=True, eq=False)
class Station:
    """One id (and address byte) as a possible end of a link."""

    channel: str
    can_id: int
    extended: bool
    address: int | None
    n_requests: int = 0
    n_suppressed: int = 0  # requests that ask for no answer, of services sent to groups
    n_responses: int = 0
    n_unasked: int = 0  # responses that no request explains
    n_strange: int = 0  # messages whose first byte is no service
    n_shared: int = 0  # requests that, without any doubt, more than one id answered
    n_flow: int = 0
    n_flow_unasked: int = 0
    first_payload: bytes = b""
    is_varied: bool = False  # not always the same payload
    shortest_gap_ns: int = 1 << 62  # between two messages
    last_ns: int = 0
    last_payload: bytes = b""
    has_witness: bool = False  # stands in a pair
    open_first: OpenFirst | None = None
    n_vain: int = 0  # first frames that nothing followed, while none was ever followed; -1 behind the first that was

    @property
    def n_messages(self) -> int:
        """Messages begun."""
        return self.n_requests + self.n_responses + self.n_strange


@dataclass(slots=True)
class Witness:
    """What speaks for one pair: ``request`` asks, ``response`` answers."""

    n_answers: int = 0
    n_alone: int = 0  # answers that only this request can explain
    credit: float = 0.0  # answers, shared among the requests that could explain them
    n_echoes: int = 0  # answers that repeat two bytes or more of the request
    services: set[int] = field(default_factory=set)
    longest_wait_ns: int = 0
    n_flow: float = 0.0  # first frames of one answered by flow control of the other, and continued


class Sightings:
    """Everything the judge of links asks about."""

    def __init__(self) -> None:
        self.stations: dict[tuple[int, int | None], Station] = {}  # by frame key, address byte
        self.witnesses: dict[tuple[Station, Station], Witness] = {}  # by (request, response)
        self._prefilter = Prefilter()
        self._questions: dict[tuple[int, int, int], dict[Station, Question]] = {}  # channel, address bytes, service
        self._firsts: dict[tuple[int, int], dict[Station, OpenFirst]] = {}  # channel, address bytes
        self._channels: tuple[str, ...] = ()

    def occurs(self, can_id: int, *, extended: bool) -> list[str]:
        """The channels an id was seen on."""
        tail = int(extended) << 29 | can_id
        return [self._channels[key >> 30] for key in self._prefilter.keys if key & 0x3FFFFFFF == tail]

    def is_clean(self, key: int, address: int | None) -> bool:
        """Nearly every frame of the id is valid under this place of the control byte."""
        return self._prefilter.is_clean(key, int(address is not None))

    def feed(self, table: FrameTable) -> None:
        """Look at one table."""
        self._channels = table.channels
        if len(table):
            self._look(table, self._prefilter.pick(table))

    def _look(self, table: FrameTable, picked: Picked) -> None:
        payload, rows = table.payload.tobytes(), picked.row
        for key, address_bytes, shape, time_ns, start, length in zip(
            picked.key.tolist(), picked.address_bytes.tolist(), picked.shape.tolist(), table.time_ns[rows].tolist(),
            table.offset[rows].tolist(), table.length[rows].tolist(), strict=True,
        ):  # fmt: skip
            data = payload[start : start + length]
            station = self._station(key, data[0] if address_bytes else None, table.channels)
            if shape == CONSECUTIVE:
                self._goes_on(station)
            elif shape == FLOW:
                self._flow(station, key >> 30, address_bytes, time_ns)
            else:
                self._message(station, key, address_bytes, shape, data, time_ns)

    def _station(self, key: int, address: int | None, channels: tuple[str, ...]) -> Station:
        station = self.stations.get((key, address))
        if station is None:
            station = Station(channels[key >> 30], key & 0x1FFFFFFF, bool(key >> 29 & 1), address)
            self.stations[key, address] = station
            self._prefilter.watch(key, int(address is not None))
        return station

    # -- messages ----------------------------------------------------------------------------------

    def _message(self, station: Station, key: int, address_bytes: int, shape: int, data: bytes, time_ns: int) -> None:
        payload = _payload(data, address_bytes, shape)
        gap_ns = time_ns - station.last_ns
        if payload == station.last_payload and time_ns > 0 and 0 <= gap_ns < ONE_FRAME_NS:
            return  # a copy by the logger is no second request and no second answer
        if station.n_messages:
            station.shortest_gap_ns = min(station.shortest_gap_ns, abs(gap_ns))
            station.is_varied = station.is_varied or payload != station.first_payload
        else:
            station.first_payload = payload
        station.last_ns, station.last_payload = time_ns, payload
        service = payload[0]
        is_response = service & 0x40 != 0
        if shape == FIRST:
            station.n_vain += station.n_vain >= 0
            station.open_first = OpenFirst(time_ns, is_response)
            self._firsts.setdefault((key >> 30, address_bytes), {})[station] = station.open_first
        if is_response:
            self._answer(station, key >> 30, address_bytes, payload, time_ns)
        elif is_request_service(service):
            self._ask(station, key >> 30, address_bytes, payload, time_ns, is_long=shape == FIRST)
        else:
            station.n_strange += 1
        is_vain = station.n_messages > MOST_UNANSWERED or station.n_vain > MOST_VAIN
        if is_vain and not station.has_witness:
            self._prefilter.leave(key, address_bytes)

    def _ask(
        self, station: Station, channel: int, address_bytes: int, payload: bytes, time_ns: int, *, is_long: bool
    ) -> None:
        station.n_requests += 1
        service = payload[0]
        station.n_suppressed += _is_group_request(payload)
        questions = self._questions.setdefault((channel, address_bytes, service), {})
        questions.pop(station, None)  # the newest stands last
        questions[station] = Question(payload, time_ns, LONG_TRANSFER_NS if is_long else ANSWER_NS)

    def _answer(self, station: Station, channel: int, address_bytes: int, payload: bytes, time_ns: int) -> None:
        station.n_responses += 1
        is_negative = payload[0] == _NEGATIVE
        if is_negative and len(payload) < 3:
            station.n_strange += 1
            return
        service = payload[1] if is_negative else payload[0] - 0x40
        is_final = not (is_negative and payload[2] == _PENDING)
        questions = self._questions.get((channel, address_bytes, service), {})
        candidates: list[tuple[Station, Question, int]] = []
        for asker in reversed(questions):
            question = questions[asker]
            if asker is station or not -DISORDER_NS <= time_ns - question.time_ns <= question.window_ns:
                continue
            echo = 0 if is_negative else _echo(question.payload, payload)
            if echo >= 0 and station not in question.answered_by:
                candidates.append((asker, question, echo))
                if len(candidates) == MOST_CANDIDATES:
                    break
        if not candidates:
            station.n_unasked += 1
        whole = 2.0 - 0.5 ** (len(candidates) - 1)  # sum of 1, 1/2, 1/4, …: the newest request counts most
        for rank, (asker, question, echo) in enumerate(candidates):
            witness = self._witness(asker, station)
            witness.n_answers += 1
            witness.n_alone += len(candidates) == 1
            witness.credit += 0.5**rank / whole
            witness.n_echoes += echo >= 2
            witness.services.add(service)
            witness.longest_wait_ns = max(witness.longest_wait_ns, time_ns - question.time_ns)
            if not is_final:
                question.time_ns, question.window_ns = time_ns, ANSWER_NS
                continue
            question.answered_by.add(station)
            if len(candidates) == 1 and len(question.answered_by) == 2:
                asker.n_shared += 1

    def _witness(self, request: Station, response: Station) -> Witness:
        witness = self.witnesses.get((request, response))
        if witness is None:
            witness = self.witnesses[request, response] = Witness()
            request.has_witness = response.has_witness = True
        return witness

    # -- flow control ------------------------------------------------------------------------------

    def _flow(self, station: Station, channel: int, address_bytes: int, time_ns: int) -> None:
        station.n_flow += 1
        is_asked = False
        for sender, first in self._firsts.get((channel, address_bytes), {}).items():
            wait_ns = time_ns - first.time_ns
            if sender is station or not -DISORDER_NS <= wait_ns <= LONG_TRANSFER_NS:
                continue
            if station in first.controllers:
                is_asked = True  # the next block
            elif wait_ns <= N_BS_NS:
                first.controllers.append(station)
                is_asked = True
        station.n_flow_unasked += not is_asked

    def _goes_on(self, station: Station) -> None:
        """The first consecutive frame: whoever sent flow control before it was understood."""
        station.n_vain = -1
        first = station.open_first
        if first is None:
            return
        station.open_first = None
        for controller in first.controllers:
            pair = (controller, station) if first.is_response else (station, controller)
            self._witness(*pair).n_flow += 1 / len(first.controllers)


def _payload(data: bytes, address_bytes: int, shape: int) -> bytes:
    """The payload a valid single or first frame shows."""
    at = address_bytes
    if shape == SINGLE:
        length, head = (data[at], at + 1) if len(data) <= 8 else (data[at + 1], at + 2)
        return data[head : head + length]
    is_escape = data[at] & 0x0F == 0 and data[at + 1] == 0
    return data[at + 6 :] if is_escape else data[at + 2 :]


def _is_group_request(payload: bytes) -> bool:
    sizes, subfunctions = _GROUP_REQUESTS.get(payload[0], ((), ()))
    return len(payload) in sizes and payload[1] in subfunctions


def _echo(request: bytes, response: bytes) -> int:
    """How many bytes of the request a positive response repeats; -1 when it contradicts it."""
    longest = _ECHO.get(request[0], 0)
    if not longest:
        return 0
    size = min(longest, len(request) - 1, len(response) - 1)
    asked, said = request[1 : 1 + size], response[1 : 1 + size]
    if asked and request[0] in _WITH_SUBFUNCTION:
        # The older dialect of 10 answers with the whole byte, 10 85 with 50 85. ISO 14230-3 (M).
        first = asked[0] & 0x7F
        asked = bytes((said[0] if first | 0x80 == said[0] else first, *asked[1:]))
    return size if asked == said else -1
