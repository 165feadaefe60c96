"""Every message of every shipped classic-CAN capture, rebuilt by can-isotp 2.0.7 and by scapy 2.8.0 as well.

Each side of each link found is given to both libraries frame by frame, flow control left out. What they deliver
must be, to the byte and in order, what we call complete. No capture needs an exception; what the libraries get wrong
on other input stands in ``test_isotp_libraries.py``.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import isotp
import pytest
import scapy.contrib.isotp as scapy_isotp
import scapy.layers.can as scapy_can

from canlog.frames import Frame, FrameFlag
from canlog.isotp.addressing import Direction, Link
from canlog.isotp.messages import Message
from canlog.isotp.pci import FlowControl, decode_frame
from canlog.read import read_capture, rebuild_surveyed, survey_links

FIXTURES = Path(__file__).parents[2] / "fixtures"
CAPTURES = sorted(FIXTURES.glob("*/capture.log")) + sorted(
    path for path in (FIXTURES / "real").iterdir() if path.suffix in (".asc", ".csv")
)


Side = tuple[str, int, bool, int | None]  # channel, id, 29 bits, address byte


def sides_of(links: list[Link]) -> Iterator[tuple[Side, Direction]]:
    for link in links:
        yield (link.channel, link.request_id, link.request_extended, link.request_address), Direction.REQUEST
        if link.response_id is not None:
            yield (link.channel, link.response_id, link.response_extended, link.response_address), Direction.RESPONSE


def data_frames(frames: list[Frame], side: Side) -> list[Frame]:
    channel, can_id, extended, address = side
    head = b"" if address is None else bytes([address])
    return [
        frame
        for frame in frames
        if (frame.channel, frame.can_id, bool(frame.flags & FrameFlag.EXTENDED)) == (channel, can_id, extended)
        and not frame.flags & (FrameFlag.REMOTE | FrameFlag.ERROR)
        and frame.data.startswith(head)
        and not isinstance(decode_frame(frame.data[len(head) :]), FlowControl)
    ]


def by_scapy(frames: list[Frame], side: Side) -> list[bytes]:
    builder = scapy_isotp.ISOTPMessageBuilder(use_ext_address=side[3] is not None)
    for frame in frames:
        flags = "extended" if frame.flags & FrameFlag.EXTENDED else 0
        builder.feed(scapy_can.CAN(identifier=frame.can_id, flags=flags, data=frame.data))
    delivered = []
    while (message := builder.pop()) is not None:
        delivered.append(bytes(message.data))
    return delivered


def mode_of(side: Side) -> isotp.AddressingMode:
    """Any address byte is taken as that of the extended form: only the length in front of the payload matters."""
    if side[3] is None:
        return isotp.AddressingMode.Normal_29bits if side[2] else isotp.AddressingMode.Normal_11bits
    return isotp.AddressingMode.Extended_29bits if side[2] else isotp.AddressingMode.Extended_11bits


def by_can_isotp(frames: list[Frame], side: Side) -> list[bytes]:
    _, can_id, extended, byte = side
    address = isotp.Address(mode_of(side), txid=can_id ^ 1, rxid=can_id, target_address=0, source_address=byte)
    waiting: list[isotp.CanMessage] = []
    layer = isotp.TransportLayerLogic(
        rxfn=lambda _timeout: waiting.pop() if waiting else None, txfn=lambda _message: None, address=address,
        params={"max_frame_size": 1 << 20},
    )  # fmt: skip
    delivered = []
    for frame in frames:
        waiting.append(isotp.CanMessage(arbitration_id=can_id, data=frame.data, extended_id=extended))
        layer.process()
        while (message := layer.recv()) is not None:
            delivered.append(bytes(message))
    return delivered


def ours_and_frames(path: Path) -> tuple[list[Link], list[Message], list[Frame]]:
    capture = read_capture(path)
    survey, links = survey_links(capture)
    frames = [frame for table in survey.frames(capture) for frame in table]
    return links, list(rebuild_surveyed(capture, survey, links)), frames


def whole(messages: list[Message], side: Side, direction: Direction) -> list[bytes]:
    """Our complete messages of one side, in order; a side that two links share is told once."""
    seen: dict[tuple[int, int], bytes] = {}
    for message in messages:
        link = message.link
        request = (link.channel, link.request_id, link.request_extended, link.request_address)
        response = (link.channel, link.response_id, link.response_extended, link.response_address)
        if message.complete and message.direction is direction and side in (request, response):
            own = request if direction is Direction.REQUEST else response
            if own == side:
                seen[message.lines] = message.data
    return [seen[lines] for lines in sorted(seen)]


@pytest.mark.parametrize("path", CAPTURES, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_both_libraries_rebuild_the_same_messages(path: Path) -> None:
    links, messages, frames = ours_and_frames(path)
    for side, direction in dict(sides_of(links)).items():
        mine = whole(messages, side, direction)
        told = data_frames(frames, side)
        assert by_scapy(told, side) == mine, ("scapy", side)
        assert by_can_isotp(told, side) == mine, ("can-isotp", side)


def test_most_captures_hold_messages() -> None:
    assert sum(bool(ours_and_frames(path)[0]) for path in CAPTURES) > len(CAPTURES) // 2
