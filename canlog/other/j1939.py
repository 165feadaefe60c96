"""J1939: parameter groups in 29-bit ids; the VIN and the active faults, where they are sent.

Theory of operation: an id is priority (3 bits), data page, PF, PS and source address. Where PF is below F0, PS is a
destination and no part of the group's number. A group is a sign where it has its usual priority and 8 bytes, and more
so at its usual pace. Longer contents are announced (BAM to all, RTS to one) and follow in frames numbered from 1.

Source: SAE J1939-21, -71, -73, -81 (M), numbers, priorities and periods from memory.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from canlog.background import ACTIVE_FAULTS, TRANSPORT_CONTROL, TRANSPORT_DATA, IdTraffic, parameter_group
from canlog.counting import counted
from canlog.frames import Frame
from canlog.other.traffic import Bus, OtherTraffic, Seen, Sign, lines_of

VIN_GROUP: Final = 0xFEEC
VIN_SIGNS: Final = 17
_BAM, _RTS = 0x20, 0x10
_MS_NS: Final = 1_000_000
_NO_FAULT: Final = frozenset({0, 0xFFFFFFFF})


class Group(NamedTuple):
    """A parameter group as it is usually sent; ``period_ms`` None: on request or as the engine turns."""

    name: str
    priority: int
    period_ms: int | None = None


GROUPS: Final = {
    0xF000: Group("retarder", 6, 100), 0xF001: Group("brakes", 6, 100), 0xF002: Group("transmission 1", 3, 10),
    0xF003: Group("engine 2", 3, 50), 0xF004: Group("engine 1", 3), 0xF005: Group("transmission 2", 6, 100),
    0xFE6C: Group("tachograph", 3, 50), 0xFEBF: Group("wheel speed", 6, 100), 0xFEC1: Group("distance", 6, 1000),
    0xFECA: Group("active faults (DM1)", 6, 1000), 0xFEE0: Group("vehicle distance", 6, 100),
    0xFEE5: Group("engine hours", 6), 0xFEE6: Group("time and date", 6, 1000), 0xFEE8: Group("direction", 6),
    0xFEEE: Group("engine temperature", 6, 1000), 0xFEEF: Group("engine fluids", 6, 500),
    0xFEF1: Group("vehicle speed", 6, 100), 0xFEF2: Group("fuel economy", 6, 100), 0xFEF5: Group("ambient", 6, 1000),
    0xFEF6: Group("intake and exhaust", 6, 500), 0xFEF7: Group("electrical power", 6, 1000),
    0xFEFC: Group("dash display", 6, 1000), 0xEE00: Group("address claimed", 6),
}  # fmt: skip


class Content(NamedTuple):
    """A content of a group, whole."""

    group: int
    source: int
    data: bytes
    lines: tuple[int, ...]  # first and last


@dataclass
class _Announced:
    """A content whose frames are to come."""

    group: int
    size: int
    n_frames: int
    first_line: int
    parts: list[bytes] = field(default_factory=list)


def recognise(bus: Bus) -> list[OtherTraffic]:
    """J1939 on a channel, if there are enough signs of it, with VIN and active faults."""
    by_group: dict[int, list[IdTraffic]] = defaultdict(list)
    for one in bus.ids:
        if one.extended:
            by_group[parameter_group(one.can_id)].append(one)
    if not by_group:
        return []
    long = list(_rebuilt(_frames(bus, [*by_group.get(TRANSPORT_CONTROL, ()), *by_group.get(TRANSPORT_DATA, ())])))
    signs = [sign for number in sorted(by_group) for sign in _group_sign(bus, number, by_group[number])]
    signs += [Sign(3, Seen(f"group {item.group:04X} in {len(item.data)} bytes", item.lines)) for item in long[:1]]
    faults = [*_short_faults(bus, by_group.get(ACTIVE_FAULTS, ())), *(i for i in long if i.group == ACTIVE_FAULTS)]
    return bus.named("J1939", signs, [*_vins(long), *_faults(faults)])


def _group_sign(bus: Bus, number: int, ids: list[IdTraffic]) -> Iterator[Sign]:
    group = GROUPS.get(number)
    if group is None:
        return
    for one in ids:
        if one.can_id >> 26 & 7 == group.priority and all(len(frame.data) == 8 for frame in bus.first_frames(one)):
            paced = group.period_ms is not None and _is_near(one.period_ns, group.period_ms * _MS_NS)
            text = f"{group.name} ({number:04X}) from address {one.can_id & 0xFF:02X}, {counted(one.frames, 'frame')}"
            yield Sign(3 if paced else 2, Seen(text, lines_of(one)))
            return  # a group counts once, however many send it


def _is_near(period_ns: int | None, usual_ns: int) -> bool:
    return period_ns is not None and usual_ns * 3 // 4 <= period_ns <= usual_ns * 5 // 4


def _frames(bus: Bus, ids: Iterable[IdTraffic]) -> list[Frame]:
    frames = [frame for one in ids for frame in bus.table.frames_of(one.can_id, bus.channel)]
    return sorted((frame for frame in frames if len(frame.data) == 8), key=lambda frame: frame.line)


def _rebuilt(frames: Iterable[Frame]) -> Iterator[Content]:
    """Contents in several frames, whole ones only; each sender has one at a time for each receiver."""
    running: dict[int, _Announced] = {}
    for frame in frames:
        way = frame.can_id & 0xFFFF  # receiver and sender
        if parameter_group(frame.can_id) == TRANSPORT_CONTROL:
            if frame.data[0] in (_BAM, _RTS):
                running[way] = _announced(frame)
            continue
        open_one = running.get(way)
        if open_one is None:
            continue
        if frame.data[0] != len(open_one.parts) + 1:
            if frame.data[0] != len(open_one.parts):  # the one before again, as asked for
                del running[way]
            continue
        open_one.parts.append(frame.data[1:])
        if len(open_one.parts) == open_one.n_frames:
            del running[way]
            data = b"".join(open_one.parts)[: open_one.size]
            if len(data) == open_one.size:
                yield Content(open_one.group, frame.can_id & 0xFF, data, (open_one.first_line, frame.line))


def _announced(frame: Frame) -> _Announced:
    data = frame.data
    return _Announced(int.from_bytes(data[5:8], "little"), int.from_bytes(data[1:3], "little"), data[3], frame.line)


def _vins(contents: Iterable[Content]) -> Iterator[Seen]:
    """Each VIN once; it ends with a star."""
    said: dict[tuple[int, bytes], Content] = {}
    for item in contents:
        if item.group == VIN_GROUP:
            said.setdefault((item.source, item.data), item)
    for (source, data), item in said.items():
        text = data.split(b"*")[0].decode("latin-1")
        if len(text) == VIN_SIGNS and text.isalnum() and text.isascii():
            yield Seen(f"VIN {text} from address {source:02X}", item.lines)


def _short_faults(bus: Bus, ids: Iterable[IdTraffic]) -> Iterator[Content]:
    for frame in _frames(bus, ids):
        yield Content(ACTIVE_FAULTS, frame.can_id & 0xFF, frame.data[:6], (frame.line,))


def _faults(contents: Iterable[Content]) -> Iterator[Seen]:
    """Each active fault of each sender once, where it is first said."""
    said: set[tuple[int, int, int]] = set()
    for item in sorted(contents, key=lambda one: one.lines):
        for at in range(2, len(item.data) - 3, 4):
            entry = item.data[at : at + 4]
            number, failure = spn_and_fmi(entry)
            fault = (item.source, number, failure)
            if int.from_bytes(entry, "little") not in _NO_FAULT and fault not in said:
                said.add(fault)
                times = counted(entry[3] & 0x7F, "time")
                yield Seen(f"active fault SPN {number} FMI {failure} of address {item.source:02X}, {times}", item.lines)


def spn_and_fmi(entry: bytes) -> tuple[int, int]:
    """Suspect parameter (19 bits) and failure mode (5 bits) of 4 bytes, as SAE J1939-73 since 1996 has them (M)."""
    return entry[0] | entry[1] << 8 | (entry[2] & 0xE0) << 11, entry[2] & 0x1F
