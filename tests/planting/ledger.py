"""What was really said in a good session, frame by frame, and which exchange proves which act.

Made from the simulator's recording and its addresses with a transport decoder of its own, so that the product is
measured against something that it did not write. Rules of proof: one home here, in the words of the trade
(a read-back, a check with a good status, a list of faults), not in those of ``analysis``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

from simulator.scene import Scene
from simulator.transport import Address

SUPPRESSED = 0x80
WITH_SUBFUNCTION = {0x10, 0x11, 0x19, 0x27, 0x28, 0x31, 0x3E, 0x85}


@dataclass(frozen=True)
class Row:
    """One frame of the recording."""

    time_us: int
    channel: str
    can_id: str
    data: bytes

    @property
    def text(self) -> str:
        seconds, fraction = divmod(self.time_us, 10**6)
        return f"({seconds:010d}.{fraction:06d}) {self.channel} {self.can_id}#{self.data.hex().upper()}"


@dataclass
class Said:
    """One message: who, what, and the rows of its frames (flow control apart)."""

    label: str  # of the module; empty for a request to everybody
    is_answer: bool
    data: bytes
    rows: list[int] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)  # payload offset of each row
    heads: list[int] = field(default_factory=list)  # bytes in front of the payload in each row
    flow: list[int] = field(default_factory=list)  # rows of the flow control that served it
    length: int = 0

    @property
    def is_whole(self) -> bool:
        return len(self.data) >= self.length

    def used(self, at: int) -> int:
        """How many bytes of its frame number ``at`` are not filling."""
        return self.heads[at] + min(self.length, self.next_start(at)) - self.starts[at]

    def next_start(self, at: int) -> int:
        return self.starts[at + 1] if at + 1 < len(self.starts) else self.length


@dataclass(frozen=True, eq=False)
class Exchange:
    """A request and the final answer of one module."""

    link: str
    label: str
    ask: Said
    answer: Said

    @property
    def rows(self) -> list[int]:
        return [*self.ask.rows, *self.answer.rows]

    @property
    def with_flow(self) -> list[int]:
        """Its rows and those of the flow control in it, in order."""
        return sorted({*self.rows, *self.ask.flow, *self.answer.flow})

    @property
    def positive(self) -> bool:
        return self.answer.data[0] == self.ask.data[0] + 0x40


@dataclass(frozen=True, eq=False)
class Proof:
    """Exchanges that together prove an act; ``by_module``: the module itself judged its memory.

    ``signs``: one of these has to stand behind a restart too, whatever its data says.
    """

    parts: tuple[Exchange, ...]
    by_module: bool = False
    signs: tuple[Exchange, ...] = ()


@dataclass(frozen=True, eq=False)
class Act:
    """Something done: its own exchanges and everything that proves it."""

    kind: str
    link: str
    subject: str
    exchanges: tuple[Exchange, ...]
    proofs: tuple[Proof, ...]

    @cached_property
    def rows(self) -> frozenset[int]:
        return frozenset(row for exchange in self.exchanges for row in exchange.rows)


class Ledger:
    """The recording of a good session with all that is known about it."""

    def __init__(self, scene: Scene, *, named: bool) -> None:
        self.named = named  # the meaning of routine answers is known
        self.rows = [_row(line) for line in scene.lines()]
        self.scene = scene
        self._stations: dict[tuple[str, bytes], tuple[str, bool]] = {}
        for label, module in scene.modules.items():
            self._stations[_station(module.endpoint.hears_on)] = (label, False)
            self._stations[_station(module.endpoint.sends_on)] = (label, True)
        self._stations[_station(scene.functional)] = ("", False)
        self.flow_rows: set[int] = set()
        self.said = self._listen()
        self.exchanges = list(self._pair())
        self.acts = [*self._writes(), *self._downloads(), *self._clears(), *self._routines()]

    @property
    def diagnostic(self) -> list[int]:
        """Rows that carry messages or their flow control."""
        return sorted({*self.flow_rows, *(row for said in self.said for row in said.rows)})

    @cached_property
    def said_of_row(self) -> dict[int, tuple[Said, int]]:
        """Message of a row, and the number of the row in it."""
        return {row: (said, at) for said in self.said for at, row in enumerate(said.rows)}

    def link_of(self, label: str) -> str:
        endpoint = self.scene.modules[label].endpoint
        return f"{self.rows[0].channel}:{endpoint.hears_on.text()}>{endpoint.sends_on.text()}"

    # -- transport: ISO 15765-2:2016, 9 (M), on a recording without faults

    def _listen(self) -> list[Said]:
        open_messages: dict[tuple[str, bytes], Said] = {}
        done: list[Said] = []
        for number, row in enumerate(self.rows):
            for head in (row.data[:1], b""):
                if (row.can_id, head) in self._stations:
                    break
            else:
                continue
            content = row.data[len(head) :]
            kind = content[0] >> 4
            key = (row.can_id, head)
            label, is_answer = self._stations[key]
            if kind == 3:
                self.flow_rows.add(number)
                for said in open_messages.values():
                    if said.label == label and said.is_answer != is_answer:
                        said.flow.append(number)
                continue
            if kind == 0:
                said = Said(label, is_answer, content[1 : 1 + content[0]], length=content[0])
                pci = 1
            elif kind == 1:
                said = Said(label, is_answer, content[2:], length=(content[0] & 0xF) << 8 | content[1])
                open_messages[key] = said
                pci = 2
            else:
                said = open_messages[key]
                pci = 1
            said.rows.append(number)
            said.heads.append(len(head) + pci)
            said.starts.append(len(said.data) if kind == 2 else 0)
            if kind == 2:
                said.data += content[1:]
            if said.is_whole:
                said.data = said.data[: said.length]
                done.append(said)
                open_messages.pop(key, None)
        return done

    def _pair(self) -> Iterator[Exchange]:
        """Answers to the last request that their module heard; the simulated tester asks one thing at a time."""
        asked: dict[str, Said] = {}
        for said in self.said:
            if said.is_answer:
                ask = asked.get(said.label)
                if ask is None or said.data[0] not in (0x7F, ask.data[0] + 0x40):
                    continue
                if said.data[0] != 0x7F or said.data[2] != 0x78:
                    yield Exchange(self.link_of(said.label), said.label, ask, said)
                continue
            if said.data[0] in WITH_SUBFUNCTION and said.data[1] & SUPPRESSED:
                continue
            for label in [said.label] if said.label else self.scene.modules:
                asked[label] = said

    # -- acts and what proves them

    def _of(self, link: str, behind: int) -> Iterator[Exchange]:
        return (item for item in self.exchanges if item.link == link and item.rows[0] > behind)

    def _writes(self) -> Iterator[Act]:
        """Proof of a write: the same value read from the same module later, before it is written again."""
        for item in self.exchanges:
            if item.ask.data[0] != 0x2E or not item.positive:
                continue
            identifier, value = item.ask.data[1:3], item.ask.data[3:]
            proofs = []
            for later in self._of(item.link, item.rows[-1]):
                if later.ask.data[:3] == b"\x2e" + identifier:
                    break
                if later.answer.data == b"\x62" + identifier + value:
                    proofs.append(Proof((later,)))
            yield Act("write", item.link, identifier.hex().upper(), (item,), tuple(proofs))

    def restarts(self, link: str) -> list[Exchange]:
        """Resets that the module accepted."""
        return [item for item in self.exchanges if item.link == link and item.ask.data[0] == 0x11 and item.positive]

    def _downloads(self) -> Iterator[Act]:
        run: list[Exchange] = []
        for item in self.exchanges:
            service = item.ask.data[0]
            if service == 0x31 and item.ask.data[2:4] == b"\xff\x00":
                run = [item]
            elif service == 0x34:
                run = [*run, item] if run and len(run) == 1 and run[0].ask.data[0] == 0x31 else [item]
            elif service in (0x36, 0x37) and run:
                run.append(item)
                if service == 0x37:
                    yield self._download(run)
                    run = []

    def _download(self, run: list[Exchange]) -> Act:
        link, last = run[0].link, run[-1].rows[-1]
        module = self.scene.modules[run[0].label]
        ask = next(item.ask.data for item in run if item.ask.data[0] == 0x34)
        address = int.from_bytes(ask[3:7], "big")
        block = next(block for block in module.blocks if block.address == address)
        later = list(self._of(link, last))
        proofs = list(self._checks(later, module.habits.check_routine, block.number))
        restart = next((item.rows[-1] for item in later if item.ask.data[0] == 0x11 and item.positive), None)
        identifiers = {key for values in module.carries.values() for key in values}
        for item in later if restart is not None else ():
            identifier = int.from_bytes(item.ask.data[1:3], "big")
            if item.rows[0] > restart and item.ask.data[0] == 0x22 and item.positive and identifier in identifiers:
                proofs.append(Proof((item,)))
        return Act("download", link, f"{address:08X}", tuple(run), tuple(proofs))

    def _checks(self, later: list[Exchange], check: int, block: int) -> Iterator[Proof]:
        for item in later:
            if item.ask.data[0] == 0x31 and item.answer.data[4:] == b"\x00":
                routine = int.from_bytes(item.ask.data[2:4], "big")
                if self.named and (routine == 0xFF01 or (routine == check and item.ask.data[4] == block)):
                    yield Proof((item,), by_module=True)
                elif routine == 0xFF01:
                    yield self._custom_check(item)

    def _custom_check(self, check: Exchange) -> Proof:
        """Status 00 without names: only together with the application answering behind a restart."""
        mine = [item for item in self.exchanges if item.link == check.link and item.positive]
        signs = (item for item in mine if item.ask.data[:2] == b"\x10\x03" or item.ask.data[0] == 0x22)
        return Proof((check,), by_module=True, signs=tuple(signs))

    def _clears(self) -> Iterator[Act]:
        for item in self.exchanges:
            if item.ask.data[0] == 0x14 and item.positive:
                lists = [later for later in self._of(item.link, item.rows[-1]) if later.answer.data[:2] == b"\x59\x02"]
                yield Act("clear", item.link, "clear", (item,), tuple(Proof((later,)) for later in lists))

    def _routines(self) -> Iterator[Act]:
        """With names a routine's last status speaks for itself."""
        for item in self.exchanges:
            if self.named and item.ask.data[0] == 0x31 and item.answer.data[4:] == b"\x00":
                yield Act("routine", item.link, item.ask.data[2:4].hex().upper(), (), (Proof((item,)),))


def _row(line: str) -> Row:
    stamp, channel, frame = line.split()
    can_id, data = frame.split("#")
    seconds, fraction = stamp.strip("()").split(".")
    return Row(int(seconds) * 10**6 + int(fraction), channel, can_id, bytes.fromhex(data))


def _station(address: Address) -> tuple[str, bytes]:
    text = f"{address.can_id:08X}" if address.extended else f"{address.can_id:03X}"
    return text, address.head
