"""GMW3110 1.6: what a module answers and how a tester asks (M).

Requests to all modules go to 101 with the address byte FE in front; answers come on 64x; what A9 reads comes in frames
without transport header on 54x. The module's side is written by hand, the tester's requests are built by scapy 2.8.0
(scapy.contrib.automotive.gm.gmlan), so the two check each other.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from scapy.config import conf
from scapy.contrib.automotive.gm.gmlan import (
    GMLAN,
    GMLAN_PM,
    GMLAN_RD,
    GMLAN_RDBI,
    GMLAN_RDI,
    GMLAN_RDI_BM,
    GMLAN_SA,
    GMLAN_TD,
    GMLAN_WDBI,
)
from scapy.packet import Packet

from .bus import Frame
from .clock import MS
from .keys import key_for
from .memory import Block
from .replies import DEFAULT, INVALID_KEY, LOCKED, OUT_OF_RANGE, PROGRAMMING, SERVICE_UNKNOWN, Refused, Reply
from .tester import Tester
from .transport import Address

if TYPE_CHECKING:
    from .module import Module

OUT_OF_ORDER = 0x22
EVERYBODY = Address(0x101, byte=0xFE)
FULLY_PROGRAMMED, NO_SOFTWARE, NO_CALIBRATION = 0x00, 0x01, 0x02
WIDTH = 4  # bytes of an address
HELPER, HELPER_ADDRESS = 9, 0x00FF8000
SOFTWARE, CALIBRATION = 1, 2


class Gmw:
    """What one module of this dialect keeps beside its memory: the steps that lead into programming."""

    def __init__(self, frames: Address, *, state: int | None = None) -> None:
        self.frames = frames  # what A9 reads
        self.state = state  # fault: what A2 says whatever is held
        self.requested = False  # A5 01

    def serve(self, module: Module, request: bytes) -> Reply | None:
        """The answer of a healthy module."""
        try:
            handler = HANDLERS.get(request[0])
            if handler is None or (module.in_loader and request[0] in NOT_IN_LOADER):
                raise Refused(SERVICE_UNKNOWN)
            return handler(self, module, request)
        except Refused as refused:
            return Reply(bytes([0x7F, request[0], refused.code]))


def _quiet(gmw: Gmw, module: Module, request: bytes) -> Reply:
    module.quiet = True
    return Reply(b"\x68")


def _state(gmw: Gmw, module: Module, request: bytes) -> Reply:
    if gmw.state is not None:
        return Reply(bytes([0xE2, gmw.state]))
    software, calibration = (module.block(number) for number in (SOFTWARE, CALIBRATION))
    assert software is not None and calibration is not None
    if not software.valid:
        return Reply(bytes([0xE2, NO_SOFTWARE]))
    return Reply(bytes([0xE2, FULLY_PROGRAMMED if calibration.valid else NO_CALIBRATION]))


def _programming(gmw: Gmw, module: Module, request: bytes) -> Reply:
    if request[1] in (0x01, 0x02):
        gmw.requested = True
        return Reply(b"\xe5")
    if request[1] != 0x03 or not gmw.requested:
        raise Refused(OUT_OF_ORDER)
    module.enter_session(PROGRAMMING)
    module.quiet = True
    return Reply(None)


def _normal(gmw: Gmw, module: Module, request: bytes) -> Reply:
    was_programming = module.session == PROGRAMMING
    module.values.store()  # what was written stays without a restart
    module.enter_session(DEFAULT)
    gmw.requested = False
    return Reply(b"\x60", after=module.restart if was_programming else None)


def _unlock(gmw: Gmw, module: Module, request: bytes) -> Reply:
    level = request[1]
    if level in (0x01, 0x03):
        module.seed = 0 if module.unlocked else module.rng.randrange(1, 1 << 16)
        return Reply(bytes([0x67, level]) + module.seed.to_bytes(2, "big"))
    if level not in (0x02, 0x04) or not module.seed:
        raise Refused(OUT_OF_ORDER)
    if request[2:] != short_key(module.seed, module.habits.key_constant):
        raise Refused(INVALID_KEY)
    module.unlocked = True
    return Reply(bytes([0x67, level]))


def short_key(seed: int, constant: int) -> bytes:
    """Two bytes of the invented algorithm."""
    return (key_for(seed, constant) & 0xFFFF).to_bytes(2, "big")


def _read(gmw: Gmw, module: Module, request: bytes) -> Reply:
    value = module.values.read(int.from_bytes(request, "big"))
    if len(request) != 2 or value is None:
        raise Refused(OUT_OF_RANGE)
    return Reply(b"\x5a" + request[1:2] + value)


def _write(gmw: Gmw, module: Module, request: bytes) -> Reply:
    if not module.unlocked:
        raise Refused(LOCKED)
    key = 0x1A00 | request[1]
    if module.values.read(key) is None:
        raise Refused(OUT_OF_RANGE)
    module.values.write(key, request[2:])
    return Reply(b"\x7b" + request[1:2], take_ns=25 * MS)


def _download(gmw: Gmw, module: Module, request: bytes) -> Reply:
    """Into programming a module erases while it answers; the first block says which part."""
    if module.session != PROGRAMMING:
        raise Refused(OUT_OF_ORDER)
    if not module.unlocked:
        raise Refused(LOCKED)
    size = int.from_bytes(request[2:], "big")
    block = next((one for one in module.blocks if one.size == size), None)
    if block is None:
        raise Refused(OUT_OF_RANGE)
    block.erase()
    module.transfer, module.transfer_size = block, size
    take = 15 * MS if block.in_ram else module.habits.erase_ns.get(block.number, 600 * MS)
    waits = tuple(range(module.habits.pending_from_ns, take, module.habits.pending_every_ns))
    return Reply(b"\x74", take_ns=take, pending_ns=waits)


def _block(gmw: Gmw, module: Module, request: bytes) -> Reply:
    block = module.transfer
    if block is None:
        raise Refused(OUT_OF_ORDER)
    at, data = int.from_bytes(request[2 : 2 + WIDTH], "big"), request[2 + WIDTH :]
    place = at - block.address
    if not 0 <= place <= block.size - len(data):
        raise Refused(OUT_OF_RANGE)
    block.content[place : place + len(data)] = data
    block.received += len(data)
    block.erased = False
    if block.received == block.size:
        block.valid = True
    return Reply(b"\x76", take_ns=module.rng.randint(8, 22) * MS)


def _clear(gmw: Gmw, module: Module, request: bytes) -> Reply:
    module.dtcs.clear()
    return Reply(b"\x44", take_ns=60 * MS)


def _emission_faults(gmw: Gmw, module: Module, request: bytes) -> Reply:
    codes = [code >> 8 for code in sorted(module.dtcs)]
    return Reply(bytes([0x43, len(codes)]) + b"".join(code.to_bytes(2, "big") for code in codes))


def _report(gmw: Gmw, module: Module, request: bytes) -> Reply:
    """A9 81: one frame a fault, then one of zeros."""

    def say() -> None:
        lines = [bytes([0x81]) + code.to_bytes(3, "big") + bytes([status]) for code, status in module.dtcs.items()]
        for line in [*sorted(lines), b"\x81\x00\x00\x00\x00"]:
            module.bus.send(Frame(gmw.frames.can_id, False, line.ljust(8, b"\x00")), module)

    if request[1] != 0x81:
        raise Refused(0x12)
    return Reply(None, after=say)


def _present(gmw: Gmw, module: Module, request: bytes) -> Reply:
    return Reply(None)


HANDLERS: dict[int, Callable[[Gmw, Module, bytes], Reply]] = {
    0x03: _emission_faults, 0x04: _clear, 0x1A: _read, 0x20: _normal, 0x27: _unlock, 0x28: _quiet, 0x34: _download,
    0x36: _block, 0x3B: _write, 0x3E: _present, 0xA2: _state, 0xA5: _programming, 0xA9: _report,
}  # fmt: skip
NOT_IN_LOADER = {0x03, 0x04, 0x3B, 0xA9}


def built(layer: Packet) -> bytes:
    """The bytes of a request as scapy has them, with addresses of four bytes."""
    conf.contribs["GMLAN"]["GMLAN_ECU_AddressingScheme"] = WIDTH
    return bytes(GMLAN() / layer)


def alone(service: int) -> bytes:
    """A request without parameters."""
    return bytes(GMLAN(service=service))


class GmwTester(Tester):
    """The person with the tester, in GMW3110."""

    block_bytes = 0x58

    def alive(self) -> bytes:
        return alone(0x3E)

    def present(self, label: str) -> bytes | None:
        """1A 90: to one module there is no better question whether it lives."""
        return self.ask(label, built(GMLAN_RDBI(dataIdentifier=0x90)))

    def enter(self) -> None:
        """Everybody quiet, state asked, programming requested and enabled."""
        self.functional(alone(0x28))
        self.functional(alone(0xA2))
        self.functional(built(GMLAN_PM(subfunction=1)))
        self.functional(built(GMLAN_PM(subfunction=3)), wait_s=0.1)

    def leave(self) -> None:
        """20 to everybody: normal mode."""
        self.functional(alone(0x20))

    def state(self, label: str) -> bytes | None:
        return self.ask(label, alone(0xA2))

    def unlock(self, label: str, *, constant: int | None = None, level: int = 1) -> bytes | None:
        seed = self.ask(label, built(GMLAN_SA(subfunction=level)))
        if seed is None or seed[0] != 0x67 or not any(seed[2:]):
            return seed
        habits = self._modules[label].habits
        key = short_key(int.from_bytes(seed[2:], "big"), habits.key_constant if constant is None else constant)
        return self.ask(label, built(GMLAN_SA(subfunction=level + 1, securityKey=int.from_bytes(key, "big"))))

    def read(self, label: str, *identifiers: int) -> list[bytes | None]:
        """``1Axx``: the service and its number."""
        return [self.ask(label, built(GMLAN_RDBI(dataIdentifier=one & 0xFF))) for one in identifiers]

    def write(self, label: str, identifier: int, value: bytes) -> bytes | None:
        return self.ask(label, built(GMLAN_WDBI(dataIdentifier=identifier & 0xFF, dataRecord=value)))

    def clear(self, label: str) -> bytes | None:
        return self.ask(label, alone(0x04))

    def read_faults(self, label: str, mask: int = 0x12) -> bytes | None:
        """A9 81, answered by frames of their own; then the emission codes."""
        self._endpoints[label].send(built(GMLAN_RDI(subfunction=0x81) / GMLAN_RDI_BM(DTCStatusMask=mask)))
        self.rest(0.1)
        return self.ask(label, b"\x03")

    def load(self, label: str, address: int, data: bytes, *, run: bool = False) -> bytes | None:
        """34, all blocks, perhaps the order to run them; the first answer that is no good one, else the last."""
        steps = [partial(self.ask, label, built(GMLAN_RD(memorySize=len(data))))]
        for at in range(0, len(data), self.block_bytes):
            chunk = data[at : at + self.block_bytes]
            asked = built(GMLAN_TD(subfunction=0, startingAddress=address + at, dataRecord=chunk))
            steps.append(partial(self.ask, label, asked, pause=False))
        if run:
            steps.append(partial(self.ask, label, built(GMLAN_TD(subfunction=0x80, startingAddress=address))))
        answer = None
        for step in steps:
            answer = step()
            if answer is None or answer[0] == 0x7F:
                return answer
        return answer


def helper(data: bytes) -> Block:
    """Working memory for the program that erases and writes."""
    return Block.ram("helper program", HELPER, HELPER_ADDRESS, len(data))
