"""Evidence for links: the sieve over columns keeps exactly what a walk over all frames finds.

The traffic is ours (seeded); compared are two implementations, so no outside source is needed here.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_bulk_twin import FAULTS, tables_of, traffic

from canlog.frames import Frame, FrameFlag, FrameTable, Ints
from canlog.isotp.links import LinkFinder
from canlog.isotp.pci import Pci, decode_frame
from canlog.isotp.reassembly import frame_keys
from canlog.isotp.sightings import CONSECUTIVE, FIRST, FLOW, SINGLE, Sightings
from canlog.read import read_capture

FIXTURES = Path(__file__).parents[2] / "fixtures"

SHAPES = {
    Pci.SINGLE: SINGLE, Pci.FIRST: FIRST, Pci.CONSECUTIVE: CONSECUTIVE, Pci.CONTINUE: FLOW, Pci.WAIT: FLOW,
    Pci.OVERFLOW: FLOW,
}  # fmt: skip


class PlainPrefilter:
    """The rule of the sieve frame by frame; every first consecutive frame passes."""

    def __init__(self) -> None:
        self.keys: list[int] = []
        self.n_frames: dict[int, int] = {}
        self.n_bad: dict[tuple[int, int], int] = {}
        self.off: set[tuple[int, int]] = set()

    def is_clean(self, key: int, place: int) -> bool:
        return self.n_bad[key, place] * 10 <= self.n_frames[key]

    def watch(self, key: int, place: int) -> None:
        """Everything is counted anyway."""

    def leave(self, key: int, place: int) -> None:
        self.off.add((key, place))

    def frames(self, table: FrameTable, keys: Ints) -> list[tuple[int, int, int]]:
        """(row, place, shape) of the frames worth a look."""
        valid: list[tuple[int, int, int]] = []
        for row, key in enumerate(keys.tolist()):
            if key not in self.n_frames:
                self.keys.append(key)
                self.n_frames[key] = self.n_bad[key, 0] = self.n_bad[key, 1] = 0
            if table.flags[row] & (FrameFlag.REMOTE | FrameFlag.ERROR):
                continue
            self.n_frames[key] += 1
            data = table.data(row)
            for place in (0, 1):
                shape = SHAPES.get(decode_frame(data, has_address=bool(place)).pci)
                if shape is None:
                    self.n_bad[key, place] += 1
                elif shape != CONSECUTIVE or data[place] == 0x21:
                    valid.append((row, place, shape))
        self.off |= {sender for sender, n in self.n_bad.items() if n > 2 + self.n_frames[sender[0]] // 20}
        return [(row, place, shape) for row, place, shape in valid if (int(keys[row]), place) not in self.off]


class PlainSightings(Sightings):
    def __init__(self) -> None:
        super().__init__()
        self._prefilter: Any = PlainPrefilter()

    def feed(self, table: FrameTable) -> None:
        self._channels = table.channels
        keys = frame_keys(table)
        for row, place, shape in self._prefilter.frames(table, keys):
            data, key, time_ns = table.data(row), int(keys[row]), int(table.time_ns[row])
            station = self._station(key, data[0] if place else None, table.channels)
            if shape == CONSECUTIVE:
                self._goes_on(station)
            elif shape == FLOW:
                self._flow(station, key >> 30, place, time_ns)
            else:
                self._message(station, key, place, shape, data, time_ns)


def evidence(finder: LinkFinder) -> object:
    sightings = finder._sightings
    name = {id(station): key for key, station in sightings.stations.items()}
    stations = {}
    for key, station in sightings.stations.items():
        fields = {field: getattr(station, field) for field in station.__slots__ if field != "open_first"}
        first = station.open_first
        seen = None if first is None else (first.time_ns, first.is_response, [name[id(c)] for c in first.controllers])
        stations[key] = (fields, seen, sightings.is_clean(*key))
    witnesses = {
        (name[id(request)], name[id(response)]): asdict(witness)
        for (request, response), witness in sightings.witnesses.items()
    }
    channels = [sightings.occurs(can_id, extended=can_id > 0x7FF) for can_id in (0x7E0, 0x100, 0x18DA2AF1)]
    return stations, witnesses, channels, finder.links()


def assert_same_evidence(tables: Sequence[FrameTable]) -> None:
    fast, plain = LinkFinder(), LinkFinder()
    plain._sightings = PlainSightings()
    for table in tables:
        fast.feed(table)
        plain.feed(table)
    assert evidence(fast) == evidence(plain)


def cyclic(rnd: random.Random, frames: list[Frame]) -> list[Frame]:
    """The frames, and between them application frames of several kinds; some look like diagnostics by chance."""
    kinds = [
        lambda: rnd.randbytes(8), lambda: bytes([0x02, 0x3E, 0]), lambda: bytes([0x31, rnd.randrange(4), 0, 0]),
        lambda: bytes([0x10, 0x20]) + rnd.randbytes(6), lambda: bytes([rnd.randrange(3, 5), 0x22]) + rnd.randbytes(6),
        lambda: bytes([0x21, *rnd.randbytes(7)]), lambda: b"", lambda: bytes([0xF1, 0x02, 0x50, 0x03]),
    ]  # fmt: skip
    ids = {0x200 + n: rnd.choice(kinds) for n in range(rnd.randrange(1, 6))}
    mixed = []
    for frame in frames:
        while rnd.random() < 0.6:
            can_id = rnd.choice(list(ids))
            data = rnd.choice(kinds)() if rnd.random() < 0.05 else ids[can_id]()
            mixed.append(frame._replace(can_id=can_id, flags=FrameFlag(0), data=data, length=len(data)))
        mixed.append(frame)
    return mixed


@settings(max_examples=100)
@given(seed=st.integers(0, 2**32))
def test_the_sieve_changes_no_evidence(seed: int) -> None:
    rnd = random.Random(seed)
    frames = cyclic(rnd, traffic(rnd)[:800])
    for _ in range(rnd.randrange(0, 12)):
        if frames:
            rnd.choice(FAULTS)(frames, rnd.randrange(len(frames)), rnd)
    assert_same_evidence(tables_of(frames, rnd.choices(range(len(frames) + 1), k=rnd.randrange(8))))


def test_an_id_that_nobody_answers_is_left_alone_by_both() -> None:
    frames = [
        Frame(n * 1_000_000, "can0", 0x300 if n % 2 else 0x301, FrameFlag(0), 3, bytes([2, 0x22, n & 0xFF]), n + 1, 0)
        for n in range(10_000)
    ]
    assert_same_evidence(tables_of(frames, range(1000, 10_000, 1000)))


@pytest.mark.parametrize("capture", sorted(FIXTURES.glob("*/capture.log"))[::4], ids=lambda path: path.parent.name)
def test_every_fourth_fixture_gives_the_same_evidence(capture: Path) -> None:
    assert_same_evidence(list(read_capture(capture).chunks()))
