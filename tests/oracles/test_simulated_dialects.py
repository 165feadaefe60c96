"""What the simulated modules of older dialects say, read by scapy 2.8.0 (contrib.automotive: kwp, gm.gmlan, obd).

The tester's requests are built by scapy, the answers by hand: here scapy takes each answer apart, finds in it what the
module holds, and puts the same bytes together again.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import pytest
from scapy.contrib.automotive.gm.gmlan import GMLAN, GMLAN_NR, GMLAN_RDBIPR, GMLAN_RPSPR
from scapy.contrib.automotive.kwp import KWP, KWP_CDIPR, KWP_NR, KWP_RDBLIPR, KWP_RECUIPR, KWP_SRBLIPR, KWP_TDPR
from scapy.contrib.automotive.obd.obd import OBD
from scapy.packet import Packet, Raw
from simulator.scene import Scene
from simulator.sessions import play

#: KWP2000 services that scapy 2.8.0 has no layer for: reading faults by status.
NOT_IN_SCAPY = (0x58,)


@cache
def played(name: str) -> Scene:
    return play(name)


def answers(name: str, label: str) -> list[bytes]:
    return played(name).modules[label].endpoint.sent_messages


def read_by(layer: type[Packet], said: list[bytes]) -> Iterator[Packet]:
    for data in said:
        packet = layer(data)
        assert bytes(packet) == data
        yield packet


@pytest.mark.parametrize("name", ["kwp-all-good", "kwp-no-counter", "kwp-exit-refused"])
def test_scapy_reads_what_the_unit_in_kwp2000_says(name: str) -> None:
    unit = played(name).modules["SHU"]
    said = [data for data in answers(name, "SHU") if data[0] not in NOT_IN_SCAPY]
    packets = list(read_by(KWP, said))
    assert len(packets) > 15
    last = {packet[KWP_RECUIPR].localIdentifier: packet[Raw].load for packet in packets if KWP_RECUIPR in packet}
    assert last[0x91] == unit.values.stored[0x1A91]
    local = {packet[KWP_RDBLIPR].recordLocalIdentifier: packet[Raw].load for packet in packets if KWP_RDBLIPR in packet}
    assert local[0x21] == unit.values.stored[0x2121] or name == "kwp-exit-refused"
    assert {packet[KWP_SRBLIPR].routineLocalIdentifier for packet in packets if KWP_SRBLIPR in packet} <= {0xE0, 0xE1}
    assert all(packet[KWP_CDIPR].groupOfDTC == 0xFF00 for packet in packets if KWP_CDIPR in packet)
    refusals = {packet[KWP_NR].negativeResponseCode for packet in packets if KWP_NR in packet}
    assert refusals == ({0x78, 0x77} if name == "kwp-exit-refused" else {0x78})


def test_scapy_finds_the_counter_that_a_counting_unit_repeats() -> None:
    packets = read_by(KWP, [data for data in answers("kwp-all-good", "SHU") if data[0] == 0x76])
    counters = [packet[KWP_TDPR].blockSequenceCounter for packet in packets]
    assert counters == [*range(1, 9), *range(1, 5)]


@pytest.mark.parametrize("name", ["gmw-all-good", "gmw-state-bad", "gmw-transfer-refused"])
def test_scapy_reads_what_the_unit_in_gmw3110_says(name: str) -> None:
    unit = played(name).modules["LGU"]
    said = [data for data in answers(name, "LGU") if data[0] != 0x43]
    packets = list(read_by(GMLAN, said))
    assert len(packets) > 15
    last = {packet[GMLAN_RDBIPR].dataIdentifier: packet[Raw].load for packet in packets if GMLAN_RDBIPR in packet}
    assert last[0xC1] == unit.values.stored[0x1AC1]
    states = [packet[GMLAN_RPSPR].programmedState for packet in packets if GMLAN_RPSPR in packet]
    assert states[-1] == {"gmw-all-good": 0x00, "gmw-state-bad": 0x03, "gmw-transfer-refused": 0x00}[name]
    refusals = {packet[GMLAN_NR].returnCode for packet in packets if GMLAN_NR in packet}
    assert refusals == ({0x78, 0x83} if name == "gmw-transfer-refused" else {0x78})


def test_scapy_reads_what_the_car_says_of_its_emissions() -> None:
    unit = played("obd-clear").modules["ENG"]
    said = list(answers("obd-clear", "ENG"))
    packets = list(read_by(OBD, said))
    text = "".join(packet.show(dump=True) for packet in packets)
    assert repr(unit.values.stored[0x0902]).removeprefix("b").strip("'") in text
    faults = [packet for packet in packets if packet.service == 0x43]
    assert [packet.payload.count for packet in faults] == [1, 0]


@pytest.mark.parametrize(
    ("name", "layer", "label"), [("kwp-all-good", KWP, "SHU"), ("gmw-all-good", GMLAN, "LGU"), ("obd-scan", OBD, "ENG")]
)
def test_scapy_reads_its_own_requests_as_the_tester_sent_them(name: str, layer: type[Packet], label: str) -> None:
    scene = played(name)
    said = [*scene.tester.endpoint(label).sent_messages, *scene.tester._broadcast.sent_messages]
    assert len(list(read_by(layer, said))) > 10
