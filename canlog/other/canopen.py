"""CANopen: heartbeats, SDO requests with their answers, network management, SYNC.

Theory of operation: ids are a function code and a node number from 1 to 127. A heartbeat (700 + node) is one byte
with the node's state; an SDO request (600 + node) and its answer (580 + node) are 8 bytes each, and the answer
repeats the index and sub-index. Ids alone prove nothing: passenger cars use all of them for something else.

Source: CiA 301, 7.2 and 7.3 (M).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from typing import Final

from canlog.background import IdTraffic
from canlog.counting import counted
from canlog.frames import Frame
from canlog.other.traffic import Bus, OtherTraffic, Seen, Sign, lines_of

LARGEST_NODE: Final = 0x7F
HEARTBEAT, SDO_REQUEST, SDO_ANSWER, SYNC, NETWORK = 0x700, 0x600, 0x580, 0x080, 0x000
BOOT_UP: Final = 0x00
STATES: Final = {0x04: "stopped", 0x05: "operational", 0x7F: "pre-operational"}
#: Node commands of network management: start, stop, pre-operational, reset node, reset communication.
COMMANDS: Final = frozenset({0x01, 0x02, 0x80, 0x81, 0x82})
#: First bytes of an SDO request and of the answers it may get: download, upload; 80 aborts.
SDO_ANSWERS: Final = {
    **dict.fromkeys((0x22, 0x23, 0x27, 0x2B, 0x2F), frozenset({0x60, 0x80})),
    0x40: frozenset({0x41, 0x42, 0x43, 0x47, 0x4B, 0x4F, 0x80}),
}
#: So many nodes count as signs, so that a large network is no surer than any.
_MOST_SIGNS: Final = 3
_WEIGHT_HEARTBEAT, _WEIGHT_SDO, _WEIGHT_NETWORK, _WEIGHT_SYNC = 3, 4, 3, 2
_SYNCS: Final = 3


def recognise(bus: Bus) -> list[OtherTraffic]:
    """CANopen on a channel, if there are enough signs of it."""
    ids = {each.can_id: each for each in bus.ids if not each.extended}
    signs = [*islice(_heartbeats(bus, ids), _MOST_SIGNS), *islice(_services(bus, ids), _MOST_SIGNS)]
    return bus.named("CANopen", [*signs, *_common(bus, ids)])


def _nodes(ids: dict[int, IdTraffic], function: int) -> Iterator[tuple[int, IdTraffic]]:
    return ((node, ids[function + node]) for node in range(1, LARGEST_NODE + 1) if function + node in ids)


def _heartbeats(bus: Bus, ids: dict[int, IdTraffic]) -> Iterator[Sign]:
    for node, one in _nodes(ids, HEARTBEAT):
        frames = bus.first_frames(one)
        states = [frame.data[0] for frame in frames if len(frame.data) == 1]
        if len(frames) == len(states) > 1 and _are_states(states):
            text = f"heartbeat of node {node}, {STATES[states[-1]]}, {counted(one.frames, 'frame')}"
            yield Sign(_WEIGHT_HEARTBEAT, Seen(text, lines_of(one)))


def _are_states(states: list[int]) -> bool:
    """Known states only; a node says 00 once, when it starts."""
    return all(state in STATES for state in states[1:]) and (states[0] in STATES or states[0] == BOOT_UP)


def _services(bus: Bus, ids: dict[int, IdTraffic]) -> Iterator[Sign]:
    for node, one in _nodes(ids, SDO_REQUEST):
        if SDO_ANSWER + node not in ids:
            continue
        asked = bus.first_frames(one)
        answers = bus.first_frames(ids[SDO_ANSWER + node])
        pair = next(((ask, answer) for ask in asked for answer in answers if _fits(ask, answer)), None)
        if pair is not None:
            index = int.from_bytes(pair[0].data[1:3], "little")
            text = f"SDO request and answer of node {node}, index {index:04X}"
            yield Sign(_WEIGHT_SDO, Seen(text, (pair[0].line, pair[1].line)))


def _fits(ask: Frame, answer: Frame) -> bool:
    if len(ask.data) != 8 or len(answer.data) != 8 or answer.line < ask.line:
        return False
    return answer.data[0] in SDO_ANSWERS.get(ask.data[0], ()) and answer.data[1:4] == ask.data[1:4]


def _common(bus: Bus, ids: dict[int, IdTraffic]) -> Iterator[Sign]:
    network = bus.first_frames(ids[NETWORK]) if NETWORK in ids else ()
    if network and all(
        len(frame.data) == 2 and frame.data[0] in COMMANDS and frame.data[1] <= LARGEST_NODE for frame in network
    ):
        yield Sign(_WEIGHT_NETWORK, Seen("network management (000)", (network[0].line,)))
    sync = bus.first_frames(ids[SYNC]) if SYNC in ids else ()
    if len(sync) >= _SYNCS and all(len(frame.data) <= 1 for frame in sync):
        yield Sign(_WEIGHT_SYNC, Seen(f"SYNC (080), {counted(ids[SYNC].frames, 'frame')}", (ids[SYNC].first_line,)))
