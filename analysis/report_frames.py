"""Frames with which a GMW3110 module answers outside the transport: faults (A9) and data packets (AA).

They stand on an id of their own (``report_id``), without transport header and service. Few of them were kept by the
first pass; packets on a schedule are many, so that a capture is read once more where somebody asked for them.
Source: GMW3110 1.6 (M); scapy 2.8.0 takes the same ids for its answers.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np

from analysis.exchanges import Exchange, Place
from canlog.capture.capture import Capture
from canlog.frames import FrameFlag
from canlog.isotp.addressing import Link
from canlog.services.dialects import GMW
from canlog.services.gmw3110 import ANSWERED_BY_FRAMES, PACKETS, STOP_SENDING, report_id
from canlog.services.traits import returns_to_normal
from canlog.survey import Survey

#: So many frames of one id are kept; a schedule that runs for an hour sends more, and none of them is judged.
MOST_FRAMES: Final = 10_000
#: Once, or on a schedule until it is stopped.
SENT_ONCE: Final = 0x01

#: Channel and id.
Name = tuple[str, int]


class ReportFrame(NamedTuple):
    """A frame of a module that is no part of a message."""

    place: Place
    time_ns: int
    data: bytes


class Source(NamedTuple):
    """A capture after both passes."""

    number: int
    capture: Capture
    survey: Survey
    exchanges: Sequence[Exchange]


Reports = Mapping[Name, tuple[ReportFrame, ...]]


def read_reports(sources: Iterable[Source], links: Iterable[Link], dialects: Mapping[str, str]) -> Reports:
    """The frames of all captures in which they were asked for, by channel and id, in order."""
    speaking = [link for link in links if dialects.get(link.key) == GMW and link.response_id is not None]
    ids = {(link.channel, found) for link in speaking if (found := report_id(link.response_id or 0)) is not None}
    reports: defaultdict[Name, list[ReportFrame]] = defaultdict(list)
    for source in sources:
        channels = {item.link.channel for item in source.exchanges if asks_for_frames(item)}
        for name, frame in _frames_of(source, {one for one in ids if one[0] in channels}):
            reports[name].append(frame)
    return {name: tuple(frames) for name, frames in reports.items()}


def asks_for_frames(exchange: Exchange) -> bool:
    """A request that is answered outside the transport."""
    return exchange.dialect == GMW and exchange.service in ANSWERED_BY_FRAMES


def _frames_of(source: Source, names: set[Name]) -> Iterator[tuple[Name, ReportFrame]]:
    background = source.survey.background
    busy = set()
    for channel, can_id in sorted(names):
        kept = background.frames_of(can_id, channel)
        seen = background.of(channel, can_id)
        if seen is not None and seen.frames > len(kept):
            busy.add((channel, can_id))
            continue
        for frame in kept:
            yield (channel, can_id), ReportFrame((source.number, frame.line), frame.time_ns, frame.data)
    yield from _read_again(source, busy) if busy else ()


def _read_again(source: Source, names: set[Name]) -> Iterator[tuple[Name, ReportFrame]]:
    ids = np.array(sorted(can_id for _, can_id in names), np.uint32)
    room = dict.fromkeys(names, MOST_FRAMES)
    unfit = int(FrameFlag.EXTENDED | FrameFlag.ERROR | FrameFlag.REMOTE)
    for table in source.survey.frames(source.capture):
        for row in np.flatnonzero(np.isin(table.can_id, ids) & (table.flags & unfit == 0)):
            frame = table[int(row)]
            name = (frame.channel, frame.can_id)
            if room.get(name, 0) > 0:
                room[name] -= 1
                yield name, ReportFrame((source.number, frame.line), frame.time_ns, frame.data)


def packets_asked(exchange: Exchange) -> tuple[int, ...]:
    """The packets that an AA asks for or, with 00, stops; none where it names all of them or is no AA."""
    return tuple(exchange.asked[2:]) if is_packet_request(exchange) else ()


def is_packet_request(exchange: Exchange) -> bool:
    """An AA of GMW3110 with its sub-function."""
    return exchange.dialect == GMW and exchange.service == PACKETS and len(exchange.asked) > 1


def packets_sent(
    exchange: Exchange, later: Iterable[Exchange], reports: Iterable[ReportFrame]
) -> tuple[ReportFrame, ...]:  # fmt: skip
    """The frames that answer a request for packets, in order.

    Args:
        exchange: an AA; nothing answers one that stops packets, or that was refused.
        later: what the module was asked behind it.
        reports: the frames of the module.
    """
    if not is_packet_request(exchange) or exchange.asked[1] == STOP_SENDING or exchange.nrc is not None:
        return ()
    found: list[ReportFrame] = []
    due = set(packets_asked(exchange))
    ends = _ends(exchange, later, due)
    for frame in reports:
        packet = frame.data[0] if frame.data else None
        if frame.place[0] != exchange.capture or frame.place < exchange.end or packet not in due:
            continue
        if packet in ends and frame.place > ends[packet]:
            continue
        found.append(frame)
        if exchange.asked[1] == SENT_ONCE:
            due.discard(packet)
    return tuple(found)


def _ends(exchange: Exchange, later: Iterable[Exchange], asked: set[int]) -> dict[int, Place]:
    """Where each packet asked for was stopped or asked for anew."""
    ends: dict[int, Place] = {}
    for item in later:
        if item.capture != exchange.capture:
            break
        if item.positive and returns_to_normal(item.asked, item.dialect):
            return {packet: ends.get(packet, item.end) for packet in asked}
        if is_packet_request(item) and item.nrc is None:
            is_stop_of_all = item.asked[1] == STOP_SENDING and not packets_asked(item)
            for packet in asked if is_stop_of_all else asked.intersection(packets_asked(item)):
                ends.setdefault(packet, item.begin)
    return ends
