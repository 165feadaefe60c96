"""Buses on which nobody talks diagnostics: invented vehicles and machines, one protocol each.

J1939: ids, groups and transport as SAE J1939-21, -71, -73 have them (M). CANopen: CiA 301 (M). XCP: ASAM MCD-1 XCP
(M); its messages are built by scapy 2.8.0. Values are invented.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from random import Random
from typing import NamedTuple

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from scapy.contrib.automotive.xcp.cto_commands_master import Connect, GetId, GetStatus, SetMta, ShortUpload
    from scapy.contrib.automotive.xcp.cto_commands_slave import (
        ConnectPositiveResponse,
        IdPositiveResponse,
        StatusPositiveResponse,
    )
    from scapy.contrib.automotive.xcp.xcp import CTORequest, CTOResponse

START_MS = 1_795_900_000_000
LONG_MS = 12_000
VIN = b"E0KRC7HT5TD004217"
#: SPN, FMI, times.
FAULTS = ((4711, 3, 2), (190, 9, 1))


class Event(NamedTuple):
    """A frame on the bus; ids above 7FF have 29 bits."""

    at_ms: float
    can_id: int
    data: bytes


def j1939(rnd: Random) -> Iterator[Event]:
    """An engine and a dashboard; the engine sends its VIN when asked, and two active faults."""
    cyclic = {0x0CF00400: 20, 0x0CF00300: 50, 0x18FEEE00: 1000, 0x18FEF100: 100, 0x18FEF200: 100, 0x18FEFC17: 1000}
    for can_id, period in cyclic.items():
        for at in range(rnd.randrange(period), LONG_MS, period):
            yield Event(at + rnd.random(), can_id, bytes(rnd.randrange(250) for _ in range(8)))
    yield Event(3, 0x18EEFF00, bytes.fromhex("1122334455667788"))
    yield Event(4000, 0x18EA0017, bytes.fromhex("ECFE00"))
    yield from _to_all(4010, 0x00, 0xFEEC, VIN + b"*")
    dm1 = b"\x44\xff" + b"".join(
        bytes([spn & 0xFF, spn >> 8 & 0xFF, spn >> 16 << 5 | fmi, times]) for spn, fmi, times in FAULTS
    )
    for at in range(500, LONG_MS, 1000):
        yield from _to_all(at, 0x00, 0xFECA, dm1)
        yield Event(at + 300, 0x18FECA17, bytes.fromhex("00FF00000000FFFF"))


def _to_all(at_ms: float, source: int, group: int, data: bytes) -> Iterator[Event]:
    n_frames = -(-len(data) // 7)
    announced = bytes([0x20, *len(data).to_bytes(2, "little"), n_frames, 0xFF, *group.to_bytes(3, "little")])
    yield Event(at_ms, 0x1CECFF00 | source, announced)
    for number in range(n_frames):
        part = data[7 * number : 7 * number + 7].ljust(7, b"\xff")
        yield Event(at_ms + 51 * (number + 1), 0x1CEBFF00 | source, bytes([number + 1]) + part)


def canopen(rnd: Random) -> Iterator[Event]:
    """Two drives with heartbeat, a master that starts them, SYNC, process data, and one value read from each."""
    for node, begin in ((3, 100), (5, 140)):
        yield Event(begin, 0x700 + node, b"\x00")
        for at in range(begin + 500, LONG_MS, 500):
            yield Event(at + rnd.random(), 0x700 + node, b"\x7f" if at < 1500 else b"\x05")
        yield Event(1000 + node, 0x600 + node, bytes.fromhex("4018100100000000"))
        yield Event(1002 + node, 0x580 + node, bytes.fromhex("4318100142000000"))
        for at in range(1600, LONG_MS, 20):
            yield Event(at + 1 + rnd.random(), 0x180 + node, bytes(rnd.randrange(256) for _ in range(6)))
    yield Event(1400, 0x000, b"\x01\x00")
    for at in range(1600, LONG_MS, 20):
        yield Event(at, 0x080, b"")


def xcp(rnd: Random) -> Iterator[Event]:
    """A bench tool connects, asks who is there, and reads a value again and again."""
    connected = ConnectPositiveResponse(resource=0x05, comm_mode_basic=0x80, max_cto=8, max_dto_le=8)
    opening = (
        (CTORequest() / Connect(), CTOResponse() / connected),
        (CTORequest() / GetStatus(), CTOResponse() / StatusPositiveResponse()),
        (CTORequest() / GetId(identification_type=1), CTOResponse() / IdPositiveResponse(mode=0, length=6)),
        (CTORequest() / SetMta(address=0x20001000), CTOResponse()),
    )  # fmt: skip
    for number, (asked, answered) in enumerate(opening):
        yield Event(300 + 20 * number, 0x554, bytes(asked))
        yield Event(303 + 20 * number, 0x555, bytes(answered))
    for at in range(1000, LONG_MS, 100):
        yield Event(at, 0x554, bytes(CTORequest() / ShortUpload(nr_of_data_elements=4, address=0x20001000)))
        yield Event(at + 2, 0x555, b"\xff" + bytes(rnd.randrange(256) for _ in range(4)))
    for at in range(0, LONG_MS, 10):
        yield Event(at + rnd.random(), 0x1A0, bytes(rnd.randrange(256) for _ in range(8)))


BUSES: dict[str, Callable[[Random], Iterator[Event]]] = {
    "bus-j1939": j1939,
    "bus-canopen": canopen,
    "bus-xcp": xcp,
}


def session(name: str, seed: int) -> tuple[list[str], dict[str, object]]:
    """The lines of the recording and the truth about it; the same for the same seed."""
    events = sorted(BUSES[name](Random(seed)))
    lines = [_line(event) for event in events]
    truth = {
        "scenario": name,
        "what_was_done": [],
        "modules": {},
        "protocol": {"bus-j1939": "J1939", "bus-canopen": "CANopen", "bus-xcp": "XCP"}[name],
        "captured": {"begins_inside": "", "ends_inside": "", "hidden": [], "frames": len(lines)},
    }
    return lines, truth


def _line(event: Event) -> str:
    micros = START_MS * 1000 + round(event.at_ms * 1000)
    digits = f"{event.can_id:08X}" if event.can_id > 0x7FF else f"{event.can_id:03X}"
    return f"({micros // 1_000_000}.{micros % 1_000_000:06d}) can0 {digits}#{event.data.hex().upper()}"
