"""The frames of known links as columns, conversation by conversation.

A *family* is every side that can be in talk with another one through flow control: mostly the two ends of
one link. Families never touch each other's messages, so a table's frames are sorted family by family
(each in source order) and every family is read on its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from canlog.frames import FrameTable, Ints
from canlog.isotp.numbering import Numbering
from canlog.isotp.reassembly import N_BS_NS, N_CR_NS, NOT_DATA, ONE_FRAME_NS, Side, frame_keys
from canlog.isotp.shapes import Bytes, Shapes, byte_at, shapes_of

Mask = npt.NDArray[np.bool_]
Codes = npt.NDArray[np.int16]

#: A message goes on sooner than this, else a time-out has passed.
DELAY_NS: Final = min(N_BS_NS, N_CR_NS)

_NO_ADDRESS: Final = 256  # the column of frames without a byte to look at


@dataclass(frozen=True, slots=True, eq=False)
class Directory:
    """Which side a frame belongs to, and what columns need to know of the sides. Sides are numbered from 0."""

    stations: Numbering  # the frame keys that have a side
    side_of: Codes  # shape (k + 1, 257): the side by station and the frame's first byte, 256 without one; -1 for none
    family: Codes  # shape (s,)
    address_bytes: Codes  # shape (s,)
    takes_long: Mask  # shape (s,): False where only single frames are allowed
    serves: Mask  # shape (s, s): flow control of the first side serves messages of the second

    def rows_of(self, table: FrameTable) -> tuple[Ints, Codes]:
        """The data frames of a table that have a side, and their sides."""
        station = self.stations.of(frame_keys(table))
        rows = np.flatnonzero((station >= 0) & (table.flags & NOT_DATA == 0))
        if not self.address_bytes.any():
            return rows, self.side_of[:, _NO_ADDRESS].take(station[rows])
        first = np.where(table.length[rows] > 0, byte_at(table.payload, table.offset[rows], 0), _NO_ADDRESS)
        side = self.side_of.ravel().take(station[rows] * (_NO_ADDRESS + 1) + first)
        return (rows, side) if (side >= 0).all() else (rows[side >= 0], side[side >= 0])


def directory_of(stations: Mapping[int, Mapping[int | None, Side]], sides: Sequence[Side]) -> Directory:
    """The directory of a reassembler's sides, by frame key and address byte."""
    number = {id(side): n for n, side in enumerate(sides)}
    side_of = np.full((len(stations) + 1, _NO_ADDRESS + 1), -1, dtype=np.int16)
    for row, station in enumerate(stations.values()):
        if None in station:
            side_of[row] = number[id(station[None])]
        for address, side in station.items():
            if address is not None:
                side_of[row, address] = number[id(side)]
    serves = np.zeros((len(sides), len(sides)), dtype=bool)
    for n, side in enumerate(sides):
        serves[n, [number[id(peer)] for peer in side.peers]] = True
    return Directory(
        stations=Numbering(stations),
        side_of=side_of,
        family=np.array(_families(sides), dtype=np.int16),
        address_bytes=np.array([side.address is not None for side in sides], dtype=np.int16),
        takes_long=np.array([not side.link.functional for side in sides], dtype=bool),
        serves=serves,
    )


def _families(sides: Sequence[Side]) -> list[int]:
    """For each side the number of its family, from 0."""
    family: dict[int, int] = {}
    for n, side in enumerate(sides):
        open_sides = [side]
        while open_sides:
            relative = open_sides.pop()
            if id(relative) not in family:
                family[id(relative)] = n
                open_sides += relative.peers
    names = {name: n for n, name in enumerate(dict.fromkeys(family[id(side)] for side in sides))}
    return [names[family[id(side)]] for side in sides]


@dataclass(frozen=True, slots=True, eq=False)
class Strand:
    """Data frames of some sides, family after family, each in source order. Columns have one shape, (n,)."""

    row: Ints  # in the table of these frames, which are in source order
    side: Codes
    family: Codes
    time_ns: Ints
    gap_ns: Ints  # since the frame before in the strand
    offset: Ints
    length: npt.NDArray[np.uint16]
    control: Bytes
    payload: Bytes  # of the table

    def __len__(self) -> int:
        return len(self.row)

    def data(self, at: int) -> bytes:
        """The data bytes of one frame."""
        start = int(self.offset[at])
        return self.payload[start : start + int(self.length[at])].tobytes()


@dataclass(frozen=True, slots=True, eq=False)
class Knots:
    """The frames of a strand but those that only go on counting. Columns have one shape, (k,).

    Nearly every frame of a download is a consecutive frame behind another one of its side: of the same size,
    with the next number, in time. A knot is any other frame; those behind it are its tail.
    """

    strand: Strand
    frame: Ints  # in the strand
    last: Ints  # the end of its tail; the frame itself without one
    side: Codes
    family: Codes
    address_bytes: Ints
    offset: Ints
    length: Ints
    shape: Shapes
    control: Ints
    gap_ns: Ints  # since the frame before in the strand
    before: Ints  # the knot before of the same side; -1 for a side's first
    is_odd: Mask  # maybe a copy by the logger, or an earlier stamp; a side's first is never odd
    by_side: Ints  # all knots sorted by side; ``side_ends`` says where each side ends
    side_ends: Ints  # shape (s,)

    def __len__(self) -> int:
        return len(self.frame)

    def of_side(self, side: int) -> Ints:
        """The knots of one side."""
        return self.by_side[self.side_ends[side - 1] if side else 0 : self.side_ends[side]]

    def family_ends(self) -> list[int]:
        """Where each family that occurs ends."""
        return [*(np.flatnonzero(np.diff(self.family)) + 1).tolist(), len(self)]


def strand_of(table: FrameTable, side: Codes, directory: Directory) -> Strand:
    """The strand of a table whose frames belong to these sides."""
    family = directory.family[side]
    row = np.arange(len(side))
    if len(family) and family.min() != family.max():
        row = np.argsort(family, kind="stable")
        table, side, family = table.take(row), side[row], family[row]
    has_address = directory.address_bytes.any()
    control_at = table.offset + directory.address_bytes[side] if has_address else table.offset
    return Strand(
        row=row,
        side=side,
        family=family,
        time_ns=table.time_ns,
        gap_ns=np.diff(table.time_ns, prepend=table.time_ns[:1]),
        offset=table.offset,
        length=table.length,
        control=table.payload.take(control_at, mode="clip") if len(table.payload) else np.zeros(len(side), np.uint8),
        payload=table.payload,
    )


def knots_of(strand: Strand, directory: Directory, *, has_clock: bool) -> Knots:
    """The knots of a strand."""
    frame = _knots(strand)
    last = np.append(frame[1:], len(strand)) - 1
    side, length, control = strand.side[frame], strand.length[frame], strand.control[frame]
    address_bytes = directory.address_bytes[side].astype(np.int64)
    by_side = np.argsort(side, kind="stable")
    before = _before(side, by_side)
    end = last[before]  # of the tail before
    gap = np.where(before >= 0, strand.time_ns[frame] - strand.time_ns[end], DELAY_NS)
    is_odd = gap < 0
    if has_clock:
        is_same = (control == strand.control[end]) & (length == strand.length[end])
        is_odd |= is_same & (gap < ONE_FRAME_NS)
    return Knots(
        strand=strand,
        frame=frame,
        last=last,
        side=side,
        family=strand.family[frame],
        address_bytes=address_bytes,
        offset=strand.offset[frame],
        length=length.astype(np.int64),
        shape=shapes_of(strand.payload, strand.offset[frame], length, address_bytes),
        control=control.astype(np.int64),
        gap_ns=strand.gap_ns[frame],
        before=before,
        is_odd=is_odd,
        by_side=by_side,
        side_ends=np.cumsum(np.bincount(side, minlength=len(directory.family))),
    )


def _knots(strand: Strand) -> Ints:
    """Every frame that does more than count on from the frame before it."""
    is_consecutive = strand.control & 0xF0 == 0x20
    is_knot = ~(is_consecutive[1:] & is_consecutive[:-1])
    is_knot |= (strand.control[1:] - strand.control[:-1]) & 0x0F != 1
    is_knot |= strand.side[1:] != strand.side[:-1]
    is_knot |= strand.length[1:] != strand.length[:-1]
    is_knot |= strand.gap_ns[1:].view(np.uint64) >= DELAY_NS  # as a number without sign, an earlier stamp is a long gap
    return np.flatnonzero(np.concatenate((np.ones(min(len(strand), 1), dtype=bool), is_knot)))


def _before(side: Codes, by_side: Ints) -> Ints:
    """For each knot the one before it of the same side, -1 for the first."""
    before = np.full(len(side), -1, dtype=np.int64)
    sorted_side = side[by_side]
    before[by_side[1:]] = np.where(sorted_side[1:] == sorted_side[:-1], by_side[:-1], -1)
    return before
