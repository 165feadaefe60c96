"""Small packet captures of ISO 13400-2 for tests, built with scapy's layers."""

from __future__ import annotations

from pathlib import Path

from scapy.contrib.automotive.doip import DoIP
from scapy.layers.inet import IP, TCP
from scapy.packet import Packet
from simulator.ethernet import GROUP, TESTER, Wire

from canlog.isotp.messages import MessageTable
from canlog.read import read_capture, rebuild_surveyed, survey_links

MODULE = 0x1010
MS = 1_000_000


def diagnostic(data: bytes, *, request: bool, module: int = MODULE) -> Packet:
    source, target = (TESTER, module) if request else (module, TESTER)
    return DoIP(payload_type=0x8001, source_address=source, target_address=target) / data


def acknowledge(code: int | None = None, quoted: bytes = b"", *, module: int = MODULE) -> Packet:
    """Positive without a code."""
    kind = {"payload_type": 0x8002, "ack_code": 0} if code is None else {"payload_type": 0x8003, "nack_code": code}
    return DoIP(**kind, source_address=module, target_address=TESTER, previous_msg=quoted)


def activation(code: int = 0x10) -> Packet:
    return DoIP(
        payload_type=0x0006, logical_address_tester=TESTER, logical_address_doip_entity=0x1000,
        routing_activation_response=code,
    )  # fmt: skip


class Dialogue(Wire):
    """A wire with a clock of its own."""

    def __init__(self) -> None:
        super().__init__()
        self.now = 1_700_000_000 * 10**9

    def say(self, tester: bool, message: Packet | bytes) -> None:
        self.now += 10 * MS
        self.message(self.now, tester, message)  # type: ignore[arg-type]

    def open(self) -> None:
        for tester, flags in ((True, "S"), (False, "SA"), (True, "A")):
            self.segment(tester, flags)

    def segment(self, tester: bool, flags: str, data: bytes = b"") -> None:
        self.now += MS
        self.tcp(self.now, tester, flags, data)

    def drop(self, *numbers: int) -> None:
        """Take packets out of the record, 1-based."""
        self.packets = [each for at, each in enumerate(self.packets, start=1) if at not in numbers]


def rebuilt(path: Path, content: bytes) -> tuple[MessageTable, tuple[str, ...]]:
    """Messages, and the notes on the capture."""
    path = path / "capture.pcap"
    path.write_bytes(content)
    capture = read_capture(path)
    surveyed, links = survey_links(capture)
    return rebuild_surveyed(capture, surveyed, links), surveyed.summary.notes


__all__ = ["GROUP", "IP", "TCP", "TESTER", "Dialogue", "acknowledge", "activation", "diagnostic", "rebuilt"]
