"""The data bytes of a capture after redaction: first what messages say, then the same values wherever else they stand.

Theory of operation: one column of all data bytes is changed in place. (1) Secret parts of rebuilt messages, found by
their meaning. (2) Every replaced value of at least :data:`LEAST_SEARCHED` bytes, in every other message. (3) VINs on
ids that carry no diagnostics, also in pieces over the frames of one id. (4) Frames of diagnostic ids that became part
of no message: a second copy gets what the first one got, any other loses all that could be payload. (5) What else is
in packets: :mod:`analysis.redact.packet_plan`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from analysis.record import CaptureRecord, Record
from analysis.redact.packet_places import NOWHERE, Indices
from analysis.redact.packet_plan import PacketPlan, announced_vins
from analysis.redact.places import Places, SideKey, head_bytes
from analysis.redact.replacements import Replacements
from analysis.redact.secret_parts import Part, Redactor, secret_parts
from canlog.frames import FrameTable
from canlog.isotp.addressing import Link
from canlog.isotp.pci import ConsecutiveFrame, FirstFrame, SingleFrame, decode_frame
from canlog.names.tables import Names
from canlog.names.value_layout import FILL
from canlog.names.vin import LENGTH, check_vin

#: Shorter values are replaced where their meaning is known only: elsewhere they stand by chance.
LEAST_SEARCHED: Final = 4
#: So many signs in a row of a known VIN are a piece of it.
LEAST_PIECE: Final = 5
_VIN_TEXT: Final = re.compile(rb"(?<![0-9A-Za-z])[A-HJ-NPR-Z0-9]{13}[0-9]{4}(?![0-9A-Za-z])")
_MEMORY: Final = frozenset({"transferred data", "memory by address", "piece of a message without its beginning"})
#: Bytes in front of the pieces of a text that is sent frame by frame: none, a number, a number and a count.
_PIECE_HEADS: Final = (0, 1, 2)
#: Service and sub-function, or as much of an identifier.
_SERVICE_BYTES: Final = 2


class Replaced(NamedTuple):
    """One line of the list: never the value."""

    kind: str
    module: str
    identifier: str


@dataclass
class Plan:
    """What the copy holds."""

    table: FrameTable
    payload: npt.NDArray[np.uint8]  # of the copy, as ``table.payload``
    vins: dict[str, str]
    values: dict[bytes, bytes]  # every searched value and what stands in its place
    counts: Counter[Replaced] = field(default_factory=Counter)

    def changed_rows(self) -> list[int]:
        """Frames whose data differ, in order."""
        table = self.table
        differs = np.flatnonzero(self.payload != table.payload)
        if not len(differs):
            return []
        order = np.argsort(table.offset, kind="stable")
        rows = order[np.searchsorted(table.offset[order], differs, side="right") - 1]
        return [int(row) for row in np.unique(rows)]

    def data(self, row: int) -> bytes:
        """The new data bytes of a frame."""
        start = int(self.table.offset[row])
        return self.payload[start : start + int(self.table.length[row])].tobytes()


def make_plans(
    record: Record, names: Names, also: Collection[int], sheet_vin: str, texts: Sequence[bytes]
) -> tuple[list[Plan], Redactor]:
    """The plans of all captures of a record, with the same replacements.

    Args:
        record: what was read.
        names: the user's names.
        also: identifiers that the user names.
        sheet_vin: the job sheet's VIN, or nothing.
        texts: the bytes of each file, in whose comments VINs may stand.
    """
    places = [Places(capture.capture.frames()) for capture in record.captures]
    replacements = Replacements(_all_vins(record, places, sheet_vin, texts))
    redactor = Redactor(names, also, replacements)
    parts = list(secret_parts(record, redactor))
    plans = []
    for capture, there in zip(record.captures, places, strict=True):
        plan = Plan(there.table, there.table.payload.copy(), replacements.vins, {})
        _Planner(plan, record, capture, redactor, there).run(parts)
        plans.append(plan)
    return plans, redactor


def _all_vins(
    record: Record, places: Sequence[Places], sheet_vin: str, texts: Sequence[bytes]
) -> set[str]:  # fmt: skip
    """Every VIN: read or written as one, the sheet's, and what looks like one in messages, frames and comments."""
    found = {sheet_vin} if sheet_vin else set()
    for story in record.stories:
        for reading in record.readings(story):
            said = reading.raw[-LENGTH:].strip(FILL)
            if (reading.kind == "vin" or reading.identifier == 0xF802) and len(said) == LENGTH:
                found.add(said.decode("ascii", "replace"))
    for message in (one for capture in record.captures for one in capture.messages):
        if message.data[:1] not in (b"\x36", b"\x76"):
            found |= {one[0].decode() for one in _VIN_TEXT.finditer(message.data)}
    found |= {vin for there in places for vin in announced_vins(there.packets)}
    streams = [stream for there in places for _, stream, _ in _streams(there.table, there.by_side)]
    for stream in (*streams, *texts):
        found |= {one for one in (match[0].decode() for match in _VIN_TEXT.finditer(stream)) if _is_sure(one)}
    return {one for one in found if one.isascii() and len(one) == LENGTH and not check_vin(one).blank}


def _is_sure(text: str) -> bool:
    """Among numbers and names only a right check digit tells a VIN, or both letters and digits in plain sight."""
    return any(sign.isalpha() for sign in text) and any(sign.isdigit() for sign in text[:12])


def _streams(table: FrameTable, sides: dict[SideKey, list[int]]) -> Iterator[tuple[SideKey, bytes, Indices]]:
    """The data of one id as one text, without the first bytes of each frame, and where each byte stands."""
    for key, rows in sides.items():
        for head in _PIECE_HEADS:
            starts = table.offset[rows] + np.minimum(head, table.length[rows])
            sizes = (table.offset[rows] + table.length[rows] - starts).astype(np.int64)
            before = np.cumsum(sizes) - sizes
            indices = np.repeat(starts - before, sizes) + np.arange(sizes.sum(), dtype=np.int64)
            yield key, table.payload[indices].tobytes(), indices


@dataclass
class _Planner:
    plan: Plan
    record: Record
    capture: CaptureRecord
    redactor: Redactor
    places: Places

    def run(self, parts: Sequence[Part]) -> None:
        """All five steps."""
        table = self.plan.table
        self.done = np.zeros(len(table.payload), dtype=np.bool_)
        others = {id(one) for each in self.record.captures if each is not self.capture for one in each.messages}
        stand = {id(message): self.places.of(message) for message in self.capture.messages}
        for part in parts:
            at = stand.get(id(part.message))
            if id(part.message) in others:
                continue
            if at is None:
                at = stand[id(part.message)] = self.places.of(part.message)
            self._put(at[part.start : part.start + len(part.new)], part.new)
            if part.old != part.new:
                self.plan.counts[Replaced(part.kind, part.module, part.identifier)] += 1
        self._know(parts)
        for message in self.capture.messages:
            for pattern in (self._pattern, self._pieces):
                self._search(pattern, message.data, stand[id(message)], self._label(message.link))
        diagnostic = _sides(link for link in self.capture.messages.links)
        self._background({key: rows for key, rows in self.places.by_side.items() if key not in diagnostic})
        for key in diagnostic:
            self._left_over(self.places.by_side.get(key, []), diagnostic[key])
        self._packets()

    def _put(self, at: Indices, new: bytes) -> None:
        stands = at != NOWHERE
        self.plan.payload[at[stands]] = np.frombuffer(new, dtype=np.uint8)[: len(at)][stands]
        self.done[at[stands]] = True

    def _know(self, parts: Iterable[Part]) -> None:
        """The values to look for elsewhere: VINs and their long pieces, and what was replaced by its meaning."""
        values = self.plan.values
        for part in parts:
            old, new = part.old.strip(FILL), part.new.strip(FILL)
            told = part.kind not in _MEMORY and len(old) >= LEAST_SEARCHED and len(set(old)) > 2
            if told and old != new and len(old) == len(new):
                values.setdefault(old, new)
        pieces: dict[bytes, bytes] = {}
        for old_vin, new_vin in self.plan.vins.items():
            for size in range(LENGTH, LEAST_PIECE - 1, -1):
                for at in range(LENGTH - size + 1):
                    piece = old_vin[at : at + size].encode()
                    if len(set(piece)) > 2:
                        pieces.setdefault(piece, new_vin[at : at + size].encode())
        self._pattern = _any_of([*values, *(one for one in pieces if len(one) == LENGTH)])
        self._pieces = _any_of(pieces)
        self._new = pieces | values

    def _search(self, pattern: re.Pattern[bytes] | None, data: bytes, at: Indices, module: str) -> None:
        for match in pattern.finditer(data) if pattern else ():
            there = at[match.start() : match.end()]
            if not self.done[there[there != NOWHERE]].any():
                self._put(there, self._new[match[0]])
                self.plan.counts[Replaced("the same value elsewhere", module, "")] += 1

    def _background(self, sides: dict[SideKey, list[int]]) -> None:
        """Whole values first, however their frames begin; a piece of a VIN would else hide the rest of it."""
        for pattern in (self._pattern, self._pieces):
            for (channel, can_id, _), stream, indices in _streams(self.plan.table, sides):
                self._search(pattern, stream, indices, f"{channel}:{can_id:03X}")

    def _packets(self) -> None:
        rest = PacketPlan(self.places.packets, self.plan.payload, self.redactor.replacements)
        rest.run()
        for kind, count in rest.counts.items():
            self.plan.counts[Replaced(kind, "over Ethernet", "")] += count

    def _label(self, link: Link) -> str:
        return self.redactor.names.label_of(link.key) or link.key

    def _left_over(self, rows: Sequence[int], address: int | None) -> None:
        """Frames of no message: as the frame they repeat, else without their payload."""
        same: dict[bytes, bytes] = {}
        for row in rows:
            data = self.plan.table.data(row)
            if row in self.places.used:
                same[data] = self.plan.data(row)
                continue
            start, size = int(self.plan.table.offset[row]), len(data)
            if self.done[start : start + size].any():
                continue
            new = same.get(data) or _without_payload(data, address is not None, self.redactor.replacements)
            self._put(np.arange(start, start + size, dtype=np.int64), new)
            if new != data:
                self.plan.counts[
                    Replaced("frame of no whole message", f"{int(self.plan.table.can_id[row]):03X}", "")
                ] += 1


def _sides(links: Iterable[Link]) -> dict[SideKey, int | None]:
    found: dict[SideKey, int | None] = {}
    for link in links:
        found[link.channel, link.request_id, link.request_extended] = link.request_address
        if link.response_id is not None:
            found[link.channel, link.response_id, link.response_extended] = link.response_address
    return found


def _without_payload(data: bytes, has_address: bool, replacements: Replacements) -> bytes:
    frame = decode_frame(data, has_address=has_address)
    if not isinstance(frame, SingleFrame | FirstFrame | ConsecutiveFrame):
        return data
    start = head_bytes(frame, data, has_address=has_address)
    first = start + (0 if isinstance(frame, ConsecutiveFrame) else _SERVICE_BYTES)
    end = start + len(frame.data)
    return data[:first] + replacements.octets(data[first:end]) + data[max(first, end) :]


def _any_of(values: Iterable[bytes]) -> re.Pattern[bytes] | None:
    ordered = sorted(set(values), key=len, reverse=True)
    return re.compile(b"|".join(map(re.escape, ordered))) if ordered else None
