"""Diagnostics over Ethernet under every disorder that TCP and a recorder make.

Whatever is repeated, exchanged or sent in other pieces, the messages stay; whatever is lost, no message is
invented, and no word stays as sure as before.
"""

from __future__ import annotations

from contextlib import suppress
from functools import cache
from itertools import pairwise
from pathlib import Path
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from simulator.ethernet import TESTER_PORT, n_packets

from analysis import analyse
from canlog.capture.ip import SYN, TCP, Datagram, ip_packet, read_datagram
from canlog.doip.headers import DoipStream, Kind
from canlog.doip.pieces import Place, TcpStream
from canlog.errors import CanlogError
from canlog.isotp.messages import MessageTable
from canlog.read import read_capture, rebuild

FIXTURES = Path(__file__).parents[2] / "fixtures"
GOOD = (FIXTURES / "doip-all-good" / "capture.pcap").read_bytes()
NAMES = [FIXTURES / "doip_names.toml"]


def records(pcap: bytes) -> list[bytes]:
    found, at = [], 24
    while at < len(pcap):
        end = at + 16 + int.from_bytes(pcap[at + 8 : at + 12], "little")
        found.append(pcap[at:end])
        at = end
    return found


ALL = records(GOOD)


def with_records(path: Path, found: list[bytes]) -> Path:
    path = path / "capture.pcap"
    path.write_bytes(GOOD[:24] + b"".join(found))
    return path


def told(table: MessageTable) -> list[tuple[str, str, bytes]]:
    """By direction: TCP keeps the order of each, and exchanged packets mix the two otherwise."""
    return sorted((message.direction.value, message.link.key, message.data) for message in table if message.complete)


@cache
def all_told() -> list[tuple[str, str, bytes]]:
    return told(rebuild(read_capture(FIXTURES / "doip-all-good" / "capture.pcap")))


@pytest.mark.parametrize("seed", range(12))
def test_repeated_and_exchanged_packets_change_no_message(seed: int, tmp_path: Path) -> None:
    rng = Random(seed)
    found = ALL[3:]
    for _ in range(20):
        at = rng.randrange(10, len(found) - 4)
        found = rng.choice(
            [
                [*found[:at], found[at - rng.randrange(6)], *found[at:]],
                [*found[:at], found[at + 1], found[at], *found[at + 2 :]],
            ]
        )
    assert told(rebuild(read_capture(with_records(tmp_path, found)))) == all_told()


@pytest.mark.parametrize("seed", range(12))
def test_lost_packets_invent_no_message(seed: int, tmp_path: Path) -> None:
    rng = Random(seed)
    found = [each for each in ALL if rng.random() > 0.1]
    rest = list(all_told())
    for each in told(rebuild(read_capture(with_records(tmp_path, found)))):
        assert each in rest
        rest.remove(each)


def carried(record: bytes) -> Datagram | None:
    return read_datagram(ip_packet(1, record[16:]))


@pytest.mark.parametrize("number", range(11, n_packets(GOOD) - 3, 4))
def test_without_any_one_packet_nothing_stays_as_sure_as_before(number: int, tmp_path: Path) -> None:
    datagram = carried(ALL[number])
    assert datagram is not None and datagram.size
    report = analyse(with_records(tmp_path, ALL[:number] + ALL[number + 1 :]), names=NAMES).to_dict()
    sure = [one for one in report["operations"] if (one["word"], one["confidence"]) == ("confirmed", "high")]
    assert sure == []


@pytest.mark.parametrize("seed", range(30))
def test_any_damage_to_the_file_gives_a_report_or_one_error(seed: int, tmp_path: Path) -> None:
    rng = Random(seed)
    content = bytearray(GOOD)
    for _ in range(rng.randrange(1, 12)):
        at = rng.randrange(24, len(content))
        content[at : at + rng.choice([0, 1, 1, 50])] = rng.randbytes(rng.choice([0, 1, 1, 20]))
    path = tmp_path / "capture.pcap"
    path.write_bytes(content)
    with suppress(CanlogError):
        assert not [one.title for one in analyse(path).findings if one.title.endswith("is broken")]


MESSAGES = st.lists(
    st.tuples(st.sampled_from([*Kind, 0xF123]), st.binary(max_size=60)), min_size=1, max_size=8
)  # fmt: skip


@given(MESSAGES, st.randoms(use_true_random=False), st.integers(0, 2**32 - 1))
def test_any_cutting_overlapping_and_shuffling_gives_the_same_messages(
    messages: list[tuple[int, bytes]], rng: Random, start: int
) -> None:
    stream = b"".join(
        b"\x02\xfd" + int(kind).to_bytes(2, "big") + len(data).to_bytes(4, "big") + data for kind, data in messages
    )
    cuts = sorted({0, len(stream), *(rng.randrange(len(stream)) for _ in range(12))})
    segments = [(at, stream[at : min(end + rng.randrange(9), len(stream))]) for at, end in pairwise(cuts)]
    segments += [rng.choice(segments) for _ in range(3)]
    rng.shuffle(segments)
    tcp, doip = TcpStream(), DoipStream()
    doip.begin()
    list(tcp.feed(Datagram(TCP, b"", b"", TESTER_PORT, 13400, (start - 1) % 2**32, SYN, b"", 0, False), Place(0, 0, 0)))
    found = []
    for line, (at, data) in enumerate(segments, start=1):
        datagram = Datagram(TCP, b"", b"", TESTER_PORT, 13400, (start + at) % 2**32, 0, data, len(data), False)
        for piece in tcp.feed(datagram, Place(line, line, line)):
            found += [(each.kind, bytes(each.data)) for each in doip.feed(piece) if each.is_whole]
    assert found == messages
    assert doip.strays == []


@given(st.binary(max_size=200), st.booleans())
def test_any_bytes_on_a_connection_raise_nothing(data: bytes, with_header: bool) -> None:
    tcp, doip = TcpStream(), DoipStream()
    data = (b"\x02\xfd\x80\x01" if with_header else b"") + data
    datagram = Datagram(TCP, b"", b"", TESTER_PORT, 13400, 0, 0, data, len(data), False)
    for piece in tcp.feed(datagram, Place(1, 1, 1)):
        list(doip.feed(piece))
    list(doip.finish("capture-ended"))
