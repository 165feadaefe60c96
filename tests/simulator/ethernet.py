"""A session over Ethernet: the messages of a simulated CAN session, as ISO 13400-2 carries them.

The vehicle side (a gateway) announces itself, activates routing and acknowledges every request. Packets and DoIP
messages are built by scapy (scapy.contrib.automotive.doip), the capture is nanosecond pcap of link type 1
(draft-ietf-opsawg-pcap). Addresses are documentation addresses (RFC 5737) and locally administered ones.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from scapy.contrib.automotive.doip import DoIP
from scapy.layers.inet import IP, TCP, UDP
from scapy.layers.l2 import Ether
from scapy.packet import Packet

from .scene import Scene

TESTER, GATEWAY, GROUP = 0x0E00, 0x1000, 0xE400
TESTER_IP, VEHICLE_IP, EVERYBODY = "192.0.2.10", "192.0.2.20", "255.255.255.255"
TESTER_MAC, VEHICLE_MAC = "02:00:00:00:00:10", "02:00:00:00:00:20"
PORT, TESTER_PORT = 13400, 49152
MSS = 1460
VEHICLE_VIN = b"INVENTED000000001"
US = 1000
NOT_REACHABLE = 0x06


#: What takes the place of a CAN id: source and target.
ADDRESSES = {
    0x7DF: (TESTER, GROUP),
    0x7E0: (TESTER, 0x1010), 0x7E8: (0x1010, TESTER),
    0x7E1: (TESTER, 0x1011), 0x7E9: (0x1011, TESTER),
}  # fmt: skip
LINKS = {"7E0:7E8": "0E00:1010", "7E1:7E9": "0E00:1011"}


class Said(NamedTuple):
    """A diagnostic message."""

    time_ns: int
    source: int
    target: int
    data: bytes


@dataclass
class Wire:
    """Packets of one connection, in order."""

    packets: list[tuple[int, Packet]] = field(default_factory=list)
    sequence: dict[bool, int] = field(
        default_factory=lambda: {True: 0x12345678, False: 0xFFFFFF00}
    )  # by: tester sends?
    count: int = 0

    def tcp(self, time_ns: int, tester: bool, flags: str, data: bytes = b"") -> None:
        """A segment with what was heard acknowledged."""
        ports = {"sport": TESTER_PORT, "dport": PORT} if tester else {"sport": PORT, "dport": TESTER_PORT}
        heard = self.sequence[not tester] if "A" in flags else 0
        segment = TCP(**ports, flags=flags, seq=self.sequence[tester], ack=heard, window=65535)
        self._put(time_ns, tester, segment / data if data else segment)
        self.sequence[tester] = (self.sequence[tester] + len(data) + ("S" in flags) + ("F" in flags)) % 2**32

    def message(self, time_ns: int, tester: bool, message: Packet) -> None:
        """A DoIP message, in as many segments as it needs."""
        data = bytes(message)
        for number, at in enumerate(range(0, len(data), MSS)):
            self.tcp(time_ns + number * 12 * US, tester, "PA", data[at : at + MSS])

    def udp(self, time_ns: int, message: Packet) -> None:
        """An announcement to everybody."""
        self._put(time_ns, False, UDP(sport=PORT, dport=PORT) / message, EVERYBODY, "ff:ff:ff:ff:ff:ff")

    def _put(self, time_ns: int, tester: bool, carried: Packet, to_ip: str = "", to_mac: str = "") -> None:
        self.count += 1
        ips = (TESTER_IP, VEHICLE_IP) if tester else (VEHICLE_IP, TESTER_IP)
        macs = (TESTER_MAC, VEHICLE_MAC) if tester else (VEHICLE_MAC, TESTER_MAC)
        ethernet = Ether(src=macs[0], dst=to_mac or macs[1])
        self.packets.append((time_ns, ethernet / IP(src=ips[0], dst=to_ip or ips[1], id=self.count) / carried))

    def pcap(self) -> bytes:
        """The capture."""
        content = struct.pack("<IHHiIII", 0xA1B23C4D, 2, 4, 0, 0, 262144, 1)
        for time_ns, packet in sorted(self.packets, key=lambda item: item[0]):
            data = bytes(packet).ljust(60, b"\0")  # the shortest Ethernet frame
            content += struct.pack("<IIII", time_ns // 10**9, time_ns % 10**9, len(data), len(data)) + data
        return content


def capture(talk: Iterable[Said], *, dead: frozenset[int] = frozenset(), from_ns: int = 0, ends: str = "FA") -> bytes:
    """The capture of a connection on which ``talk`` was said.

    Args:
        talk: in order of time.
        dead: modules that the gateway cannot reach any more ...
        from_ns: ... from this time on.
        ends: flags of the last segment, from the vehicle.
    """
    talk = list(talk)
    wire = Wire()
    start = talk[0].time_ns - 200_000 * US
    announcement = DoIP(payload_type=0x0004, vin=VEHICLE_VIN, logical_address=GATEWAY, eid=b"\x02" * 6, gid=b"\x02" * 6)
    for number in range(3):
        wire.udp(start + number * 20_000 * US, announcement)
    start += 100_000 * US
    for step, (tester, flags) in enumerate(((True, "S"), (False, "SA"), (True, "A"))):
        wire.tcp(start + step * 150 * US, tester, flags)
    wire.message(start + 1_000 * US, True, DoIP(payload_type=0x0005, source_address=TESTER, activation_type=0))
    activated = DoIP(
        payload_type=0x0006, logical_address_tester=TESTER, logical_address_doip_entity=GATEWAY,
        routing_activation_response=0x10,
    )  # fmt: skip
    wire.message(start + 2_000 * US, False, activated)
    for said in talk:
        for time_ns, tester, message in _exchange(said, dead if said.time_ns >= from_ns else frozenset()):
            wire.message(time_ns, tester, message)
    wire.tcp(talk[-1].time_ns + 50_000 * US, False, ends)
    return wire.pcap()


def talk_of(scene: Scene) -> list[Said]:
    """What was said in a session of the bench, with logical addresses."""
    start = scene.logger.start_ns
    return [Said(start + told.time_ns, *ADDRESSES[told.can_id], told.data) for told in scene.bus.told]


def good(scene: Scene) -> bytes:
    """All is acknowledged."""
    return capture(talk_of(scene))


def module_dies(scene: Scene) -> bytes:
    """From the module's last word on the gateway cannot reach it; in the end the gateway breaks off."""
    talk = talk_of(scene)
    last = max(said.time_ns for said in talk if said.source == 0x1010)
    return capture(talk, dead=frozenset({0x1010}), from_ns=last + 1, ends="RA")


#: Name of a fixture: the session that it carries, and how.
SESSIONS: dict[str, tuple[str, Callable[[Scene], bytes]]] = {
    "doip-all-good": ("uds11-all-good", good),
    "doip-module-silent": ("uds11-module-silent", module_dies),
}


def truth_of(scene: Scene, name: str, packets: int) -> dict[str, Any]:
    """The truth of the session, with the links and the packets of this capture."""
    truth: dict[str, Any] = scene.truth()
    for module in truth["modules"].values():
        module["link"] = LINKS[module["link"]]
    truth["scenario"], truth["captured"]["frames"] = name, packets
    return truth


def n_packets(pcap: bytes) -> int:
    """Records of a capture."""
    at, count = 24, 0
    while at < len(pcap):
        at, count = at + 16 + int.from_bytes(pcap[at + 8 : at + 12], "little"), count + 1
    return count


def _exchange(said: Said, dead: frozenset[int]) -> Iterator[tuple[int, bool, Packet]]:
    """A diagnostic message, and what the gateway says to a request."""
    tester = said.source == TESTER
    addresses = {"source_address": said.source, "target_address": said.target}
    yield said.time_ns, tester, DoIP(payload_type=0x8001, **addresses) / said.data
    if not tester:
        return
    swapped = {"source_address": said.target, "target_address": said.source}
    if said.target in dead:
        yield said.time_ns + 400 * US, False, DoIP(payload_type=0x8003, nack_code=NOT_REACHABLE, **swapped)
    else:
        yield said.time_ns + 200 * US, False, DoIP(payload_type=0x8002, ack_code=0, **swapped)
