"""The data bytes of a capture after redaction: first what messages say, then the same values wherever else they stand.

Theory of operation: one column of all data bytes is changed in place. (1) Secret parts of rebuilt messages, found by
their meaning. (2) Every replaced value of at least four bytes, in any spelling, in every other message. (3) VINs on
ids that carry no diagnostics, also in pieces over the frames of one id. (4) Frames of diagnostic ids that became part
of no message: a second copy gets what the first one got, any other loses all that could be payload. (5) What else is
in packets: :mod:`analysis.redact.packet_plan`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from analysis.record import CaptureRecord, Record
from analysis.redact.known_vins import known_vins
from analysis.redact.other_spellings import other_spellings
from analysis.redact.packet_places import NOWHERE, Indices
from analysis.redact.packet_plan import PacketPlan
from analysis.redact.places import Places, SideKey, head_bytes, streams
from analysis.redact.replacements import Replacements
from analysis.redact.search import LEAST, Search
from analysis.redact.secret_parts import Part, Redactor, secret_parts
from canlog.frames import FrameTable
from canlog.isotp.addressing import Link
from canlog.isotp.pci import ConsecutiveFrame, FirstFrame, FlowControl, SingleFrame, decode_frame
from canlog.names.tables import Names
from canlog.names.value_layout import FILL
from canlog.names.vin import LENGTH

#: So many signs in a row of a known VIN are a piece of it.
LEAST_PIECE: Final = 5
_MEMORY: Final = frozenset({"transferred data", "memory by address", "piece of a message without its beginning"})
#: Bytes of a flow control frame, and what frames are usually filled up with (common practice, no source; CC is of
#: ISO 15765-2, M).
_FLOW_BYTES: Final = 3
_USUAL_FILL: Final = (b"", b"\x00", b"\x55", b"\xaa", b"\xcc", b"\xff")
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
    replacements = Replacements(known_vins(record, places, sheet_vin, texts))
    redactor = Redactor(names, also, replacements)
    parts = list(secret_parts(record, redactor))
    plans = []
    for capture, there in zip(record.captures, places, strict=True):
        plan = Plan(there.table, there.table.payload.copy(), replacements.vins, {})
        _Planner(plan, record, capture, redactor, there).run(parts)
        plans.append(plan)
    return plans, redactor


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
            for search in (self._whole, self._pieces):
                self._search(search, message.data, stand[id(message)], self._label(message.link))
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
            old = part.old.strip(FILL)
            at = part.old.find(old)
            # Cut where the old value is: a drawn one may itself begin or end like fill bytes.
            new = part.new[at : at + len(old)]
            told = part.kind not in _MEMORY and len(old) >= LEAST and len(set(old)) > 2
            if told and old != new:
                values.setdefault(old, new)
        pieces: dict[bytes, bytes] = {}
        for old_vin, new_vin in self.plan.vins.items():
            for size in range(LENGTH, LEAST_PIECE - 1, -1):
                for at in range(LENGTH - size + 1):
                    piece = old_vin[at : at + size].encode()
                    if len(set(piece)) > 2:
                        pieces.setdefault(piece, new_vin[at : at + size].encode())
        whole = values | {old: new for old, new in pieces.items() if len(old) == LENGTH}
        self._new: dict[bytes, bytes] = {}
        for old, new in whole.items():
            for spelled, put in other_spellings(old, new):
                self._new.setdefault(spelled, put)
        self._new |= whole
        self._whole = Search(self._new)
        self._pieces = Search(pieces)
        self._new = pieces | self._new

    def _search(self, search: Search, data: bytes, at: Indices, module: str) -> None:
        for start, end in search.find(data):
            there = at[start:end]
            if not self.done[there[there != NOWHERE]].any():
                self._put(there, self._new[data[start:end]])
                self.plan.counts[Replaced("the same value elsewhere", module, "")] += 1

    def _background(self, sides: dict[SideKey, list[int]]) -> None:
        """Whole values first, however their frames begin; a piece of a VIN would else hide the rest of it."""
        for pieces in self.places.text_pieces():
            if pieces.key in sides:
                self._search(self._whole, pieces.text, pieces.at, _called(pieces.key))
                for first, *others in pieces.same:
                    self._repeat(first, others)
        for search in (self._whole, self._pieces):
            for key, stream, indices in streams(self.plan.table, sides):
                self._search(search, stream, indices, _called(key))

    def _repeat(self, first: int, others: list[int]) -> None:
        """What a changed frame got, in those that were equal to it."""
        table = self.plan.table
        at = int(table.offset[first]) + np.arange(int(table.length[first]), dtype=np.int64)
        changed = np.flatnonzero(self.done[at])
        for row in others if len(changed) else ():
            self._put(int(table.offset[row]) + changed, self.plan.payload[at[changed]].tobytes())

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
                self._fill(row, data, has_address=address is not None)
                same[data] = self.plan.data(row)
                continue
            start, size = int(self.plan.table.offset[row]), len(data)
            if self.done[start : start + size].any():
                continue
            new = same.get(data) or _without_payload(data, address is not None, self.redactor.replacements)
            self._put(np.arange(start, start + size, dtype=np.int64), new)
            self._fill(row, data, has_address=address is not None)
            if new != data:
                self.plan.counts[
                    Replaced("frame of no whole message", f"{int(self.plan.table.can_id[row]):03X}", "")
                ] += 1

    def _fill(self, row: int, data: bytes, *, has_address: bool) -> None:
        """Fill bytes, where they are what was left in a buffer: a key or a VIN may stand there once more."""
        frame = decode_frame(data, has_address=has_address)
        if isinstance(frame, FlowControl):
            end = has_address + _FLOW_BYTES
        elif isinstance(frame, SingleFrame):
            end = head_bytes(frame, data, has_address=has_address) + len(frame.data)
        elif isinstance(frame, ConsecutiveFrame) and row in self.places.used:
            end = self.places.end_of_payload(row)
        else:
            return
        rest = data[end:]
        if rest.strip(rest[:1]) or rest[:1] not in _USUAL_FILL:
            start = int(self.plan.table.offset[row]) + end
            new = self.redactor.replacements.octets(rest)
            self._put(np.arange(start, start + len(rest), dtype=np.int64), new)
            self.plan.counts[Replaced("left in the fill bytes", f"{int(self.plan.table.can_id[row]):03X}", "")] += 1


def _called(key: SideKey) -> str:
    channel, can_id, _ = key
    return f"{channel}:{can_id:03X}"


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
