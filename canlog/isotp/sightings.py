"""Who seems to speak ISO 15765-2: evidence gathered frame table by frame table.

Most ids of a capture are cyclic application frames. A column prefilter looks at the control byte of
every frame, under both places it can have (first byte; second byte behind an address), and an id that
keeps showing impossible ones is never looked at again. Only the few ids left reach a loop, and of
them only frames that begin a message, flow control, and the first consecutive frame.

What counts is structure, never a single look: a first frame that another id answers with flow control
and that then goes on; a request whose service another id answers. Memory grows with the number of
ids, not with frames.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from canlog.frames import FrameFlag, FrameTable
from canlog.isotp.pci import FD_SIZES
from canlog.isotp.reassembly import N_BS_NS, ONE_FRAME_NS, frame_keys

Shapes = npt.NDArray[np.uint8]

NOTHING, SINGLE, FIRST, CONSECUTIVE, FLOW = range(5)

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


def frame_shapes(table: FrameTable, address_bytes: int) -> Shapes:
    """What each frame would be if its control byte stood behind ``address_bytes`` bytes.

    Returns:
        shape (n,), uint8: SINGLE, FIRST, CONSECUTIVE, FLOW, or NOTHING for what is no valid frame
        (flow control with a reserved status included: no sender means it). Equal to
        :func:`canlog.isotp.pci.decode_frame` on every frame.
    """
    length = table.length.astype(np.int64)
    is_data = table.flags & int(FrameFlag.REMOTE | FrameFlag.ERROR) == 0
    control, next_byte = (_byte(table, length, address_bytes + n) for n in (0, 1))
    nibble, low = control >> 4, control & 0x0F
    is_size = (length <= 8) | np.isin(length, list(FD_SIZES))
    is_long = length > 8
    room = length - address_bytes
    single = (nibble == 0) & np.where(
        is_long, (low == 0) & (next_byte >= 1) & (next_byte <= room - 2), (low >= 1) & (low <= room - 1)
    )
    announced = low << 8 | next_byte
    escaped = np.zeros_like(length)
    for n in range(2, 6):
        escaped = escaped << 8 | _byte(table, length, address_bytes + n)
    announced = np.where(announced == 0, escaped, announced)
    smallest = np.where(is_long, length - 1, 8) - address_bytes
    first = (nibble == 1) & (length >= 8) & (announced >= smallest)
    consecutive = (nibble == 2) & (room >= 2)
    flow = (nibble == 3) & (low <= 2) & (room >= 3)
    shapes = np.select([single, first, consecutive, flow], [SINGLE, FIRST, CONSECUTIVE, FLOW], NOTHING)
    return np.where(is_data & is_size & (room >= 1), shapes, NOTHING).astype(np.uint8)


def _byte(table: FrameTable, length: npt.NDArray[np.int64], at: int) -> npt.NDArray[np.int64]:
    """shape (n,), int64: one byte of every frame, 0 where the frame is shorter."""
    if not len(table.payload):
        return np.zeros(len(length), dtype=np.int64)
    where = np.minimum(table.offset + at, len(table.payload) - 1)
    return np.where(length > at, table.payload[where], 0).astype(np.int64)


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


@dataclass(slots=True)
class _Count:
    n_frames: int = 0
    n_bad: list[int] = field(default_factory=lambda: [0, 0])  # by address bytes: 0, 1
    is_off: list[bool] = field(default_factory=lambda: [False, False])


class Sightings:
    """Everything the judge of links asks about."""

    def __init__(self) -> None:
        self.stations: dict[tuple[int, int | None], Station] = {}  # by frame key, address byte
        self.witnesses: dict[tuple[Station, Station], Witness] = {}  # by (request, response)
        self._counts: dict[int, _Count] = {}
        self._questions: dict[tuple[int, int, int], dict[Station, Question]] = {}  # channel, address bytes, service
        self._firsts: dict[tuple[int, int], dict[Station, OpenFirst]] = {}  # channel, address bytes
        self._channels: tuple[str, ...] = ()

    def occurs(self, can_id: int, *, extended: bool) -> list[str]:
        """The channels an id was seen on."""
        tail = int(extended) << 29 | can_id
        return [self._channels[key >> 30] for key in self._counts if key & 0x3FFFFFFF == tail]

    def is_clean(self, key: int, address: int | None) -> bool:
        """Nearly every frame of the id is valid under this place of the control byte."""
        count = self._counts[key]
        return count.n_bad[address is not None] * 10 <= count.n_frames

    def feed(self, table: FrameTable) -> None:
        """Look at one table."""
        self._channels = table.channels
        if not len(table):
            return
        keys, inverse = np.unique(frame_keys(table), return_inverse=True)
        is_data = table.flags & int(FrameFlag.REMOTE | FrameFlag.ERROR) == 0
        totals = np.bincount(inverse, weights=is_data, minlength=len(keys)).astype(int).tolist()
        counts = [self._counts.setdefault(key, _Count()) for key in keys.tolist()]
        for count, total in zip(counts, totals, strict=True):
            count.n_frames += total
        picked: list[tuple[int, int, int]] = []
        for address_bytes in (0, 1):
            picked += self._pick(table, address_bytes, inverse, counts, is_data)
        self._look(table, sorted(picked))

    def _pick(
        self, table: FrameTable, address_bytes: int, inverse: npt.NDArray[np.intp], counts: list[_Count],
        is_data: npt.NDArray[np.bool_],
    ) -> list[tuple[int, int, int]]:  # fmt: skip
        """Rows worth a look: (row, address bytes, shape)."""
        shapes = frame_shapes(table, address_bytes)
        bad = np.bincount(inverse, weights=is_data & (shapes == NOTHING), minlength=len(counts)).astype(int).tolist()
        alive = np.zeros(len(counts), dtype=bool)
        for index, count in enumerate(counts):
            count.n_bad[address_bytes] += bad[index]
            if count.n_bad[address_bytes] > 2 + count.n_frames // 20:
                count.is_off[address_bytes] = True
            alive[index] = not count.is_off[address_bytes]
        control = _byte(table, table.length.astype(np.int64), address_bytes)
        wanted = alive[inverse] & (shapes != NOTHING) & ((shapes != CONSECUTIVE) | (control == 0x21))
        rows = np.flatnonzero(wanted)
        return [(row, address_bytes, shape) for row, shape in zip(rows.tolist(), shapes[rows].tolist(), strict=True)]

    def _look(self, table: FrameTable, picked: list[tuple[int, int, int]]) -> None:
        rows = np.array([row for row, _, _ in picked], dtype=np.int64)
        keys = frame_keys(table.take(rows)).tolist()
        times = table.time_ns[rows].tolist()
        for (row, address_bytes, shape), key, time_ns in zip(picked, keys, times, strict=True):
            data = table.data(row)
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
            station.open_first = OpenFirst(time_ns, is_response)
            self._firsts.setdefault((key >> 30, address_bytes), {})[station] = station.open_first
        if is_response:
            self._answer(station, key >> 30, address_bytes, payload, time_ns)
        elif is_request_service(service):
            self._ask(station, key >> 30, address_bytes, payload, time_ns, is_long=shape == FIRST)
        else:
            station.n_strange += 1
        if station.n_messages > MOST_UNANSWERED and not station.has_witness:
            self._counts[key].is_off[address_bytes] = True

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
            wait_ns = time_ns - question.time_ns
            echo = 0 if is_negative else _echo(question.payload, payload)
            if asker is station or echo < 0 or not -DISORDER_NS <= wait_ns <= question.window_ns:
                continue
            if station not in question.answered_by:
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
    size = min(_ECHO.get(request[0], 0), len(request) - 1, len(response) - 1)
    asked, said = bytearray(request[1 : 1 + size]), response[1 : 1 + size]
    if asked and request[0] in _WITH_SUBFUNCTION:
        asked[0] &= 0x7F
        # The older dialect of 10 answers with the whole byte, 10 85 with 50 85. ISO 14230-3 (M).
        if asked[0] | 0x80 == said[0]:
            asked[0] = said[0]
    return size if asked == said else -1
