"""KWP2000 on CAN: what a module answers and how a tester asks. ISO 14230-3 (M).

The module's side is written by hand from the standard, the tester's requests are built by scapy 2.8.0
(scapy.contrib.automotive.kwp), so the two check each other. Blocks without a counter, which scapy does not know, are
put together here.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from scapy.contrib.automotive.kwp import (
    KWP,
    KWP_CDI,
    KWP_ER,
    KWP_RD,
    KWP_RDBLI,
    KWP_RECUI,
    KWP_SA,
    KWP_SDS,
    KWP_SRBLI,
    KWP_TD,
    KWP_TP,
    KWP_WDBLI,
)
from scapy.packet import Packet

from .clock import MS
from .keys import key_for
from .memory import Block, crc32
from .replies import (
    DEFAULT,
    EXTENDED,
    INVALID_KEY,
    LOCKED,
    OUT_OF_RANGE,
    PROGRAMMING,
    SERVICE_UNKNOWN,
    Refused,
    Reply,
)
from .tester import Tester

if TYPE_CHECKING:
    from .module import Module

#: Refusals as KWP2000 numbers them (M): 22 is also a request out of order.
FORMAT, OUT_OF_ORDER, NOT_ACCEPTED, NOT_IN_SESSION = 0x12, 0x22, 0x40, 0x80
MODES = {0x81: DEFAULT, 0x85: PROGRAMMING, 0x92: EXTENDED}
ERASE, CHECK = 0xE0, 0xE1
GOOD, DIFFERS = 0x00, 0x05


def serve(module: Module, request: bytes, *, counted: bool = True) -> Reply | None:
    """The answer of a healthy module; ``counted``: its blocks begin with a counter."""
    try:
        if request[0] == 0x36:
            return _block(module, request, counted)
        handler = HANDLERS.get(request[0])
        if handler is None or (module.in_loader and request[0] in NOT_IN_LOADER):
            raise Refused(SERVICE_UNKNOWN)
        return handler(module, request)
    except Refused as refused:
        return Reply(bytes([0x7F, request[0], refused.code]))


def _mode(module: Module, request: bytes) -> Reply:
    if request[1] not in MODES:
        raise Refused(FORMAT)
    module.enter_session(MODES[request[1]])
    return Reply(b"\x50" + request[1:2])


def _restart(module: Module, request: bytes) -> Reply:
    if request[1:] != b"\x01":
        raise Refused(FORMAT)
    return Reply(b"\x51", after=module.restart)


def _clear(module: Module, request: bytes) -> Reply:
    module.dtcs.clear()
    return Reply(b"\x54" + request[1:3], take_ns=60 * MS)


def _faults(module: Module, request: bytes) -> Reply:
    listed = b"".join(code.to_bytes(2, "big") + bytes([status]) for code, status in sorted(module.dtcs.items()))
    return Reply(bytes([0x58, len(module.dtcs)]) + listed)


def _read(module: Module, request: bytes) -> Reply:
    value = module.values.read(int.from_bytes(request[:2], "big"))
    if len(request) != 2 or value is None:
        raise Refused(OUT_OF_RANGE)
    return Reply(bytes([request[0] + 0x40, request[1]]) + value)


def _write(module: Module, request: bytes) -> Reply:
    """3B writes what 21 reads; the number of the VIN, what 1A reads."""
    if module.session == DEFAULT:
        raise Refused(NOT_IN_SESSION)
    if not module.unlocked:
        raise Refused(LOCKED)
    key = (0x1A00 if request[1] >= 0x80 else 0x2100) | request[1]
    if module.values.read(key) is None:
        raise Refused(OUT_OF_RANGE)
    module.values.write(key, request[2:])
    return Reply(b"\x7b" + request[1:2], take_ns=25 * MS)


def _unlock(module: Module, request: bytes) -> Reply:
    if module.session == DEFAULT:
        raise Refused(NOT_IN_SESSION)
    if request[1:] == b"\x01":
        module.seed = 0 if module.unlocked else module.rng.randrange(1, 2**32)
        return Reply(b"\x67\x01" + module.seed.to_bytes(4, "big"))
    if request[1] != 0x02 or not module.seed:
        raise Refused(OUT_OF_ORDER)
    if request[2:] != key_for(module.seed, module.habits.key_constant).to_bytes(4, "big"):
        raise Refused(INVALID_KEY)
    module.unlocked = True
    return Reply(b"\x67\x02\x34")  # 34: security access allowed (M)


def _needs_programming(module: Module) -> None:
    if module.session != PROGRAMMING:
        raise Refused(NOT_IN_SESSION)
    if not module.unlocked:
        raise Refused(LOCKED)


def _routine(module: Module, request: bytes) -> Reply:
    _needs_programming(module)
    block = module.block(request[2]) if len(request) > 2 else None
    if block is None or request[1] not in (ERASE, CHECK):
        raise Refused(OUT_OF_RANGE)
    if request[1] == ERASE:
        block.erase()
        take = module.habits.erase_ns.get(block.number, 600 * MS)
        waits = tuple(range(module.habits.pending_from_ns, take, module.habits.pending_every_ns))
        return Reply(b"\x71\xe0\x00", take_ns=take, pending_ns=waits)
    block.valid = crc32(bytes(block.content)).to_bytes(4, "big") == request[3:]
    return Reply(bytes([0x71, CHECK, GOOD if block.valid else DIFFERS]), take_ns=35 * MS)


def _download(module: Module, request: bytes) -> Reply:
    _needs_programming(module)
    address, size = int.from_bytes(request[1:4], "big"), int.from_bytes(request[5:8], "big")
    block = next((one for one in module.blocks if one.address == address), None)
    if block is None or size != block.size or not block.erased:
        raise Refused(NOT_ACCEPTED)
    module.transfer, module.transfer_size = block, size
    module.next_block, module.last_block = 1, b""
    return Reply(bytes([0x74, module.habits.block_length]))


def _block(module: Module, request: bytes, counted: bool) -> Reply:
    block = module.transfer
    mark = request[1:2] if counted else b""
    if block is None or (counted and request[1] != module.next_block):
        raise Refused(OUT_OF_ORDER)
    data = request[1 + len(mark) :]
    if block.received + len(data) > block.size or len(request) > module.habits.block_length:
        raise Refused(OUT_OF_RANGE)
    block.content[block.received : block.received + len(data)] = data
    block.received += len(data)
    block.erased = False
    module.next_block = (module.next_block + 1) & 0xFF
    return Reply(b"\x76" + mark, take_ns=module.rng.randint(8, 22) * MS)


def _exit(module: Module, request: bytes) -> Reply:
    block = module.transfer
    if block is None or block.received != block.size:
        raise Refused(OUT_OF_ORDER)
    module.transfer = None
    block.valid = True  # this make trusts the end of a complete transfer; E1 is a second opinion
    return Reply(b"\x77")


def _present(module: Module, request: bytes) -> Reply:
    return Reply(None if request[1:] == b"\x02" else b"\x7e")


HANDLERS: dict[int, Callable[[Module, bytes], Reply]] = {
    0x10: _mode, 0x11: _restart, 0x14: _clear, 0x18: _faults, 0x1A: _read, 0x21: _read, 0x27: _unlock,
    0x31: _routine, 0x34: _download, 0x37: _exit, 0x3B: _write, 0x3E: _present,
}  # fmt: skip
NOT_IN_LOADER = {0x14, 0x18, 0x21, 0x3B}


def built(layer: Packet) -> bytes:
    """The bytes of a request as scapy has them."""
    return bytes(KWP() / layer)


class KwpTester(Tester):
    """The person with the tester, in KWP2000."""

    counted = True
    block_bytes = 0x60

    def alive(self) -> bytes:
        return built(KWP_TP(responseRequired=2))

    def present(self, label: str) -> bytes | None:
        return self.ask(label, built(KWP_TP(responseRequired=1)))

    def session(self, label: str, number: int) -> bytes | None:
        mode = next(mode for mode, session in MODES.items() if session == number)
        return self.ask(label, built(KWP_SDS(diagnosticSession=mode)))

    def reset(self, label: str, kind: int = 1) -> bytes | None:
        return self.ask(label, built(KWP_ER(resetMode=kind)))

    def unlock(self, label: str, *, constant: int | None = None) -> bytes | None:
        seed = self.ask(label, built(KWP_SA(accessMode=1)))
        if seed is None or seed[0] != 0x67 or not any(seed[2:]):
            return seed
        key = key_for(int.from_bytes(seed[2:], "big"), constant or self._modules[label].habits.key_constant)
        return self.ask(label, built(KWP_SA(accessMode=2, key=key.to_bytes(4, "big"))))

    def read(self, label: str, *identifiers: int) -> list[bytes | None]:
        """``1Axx`` and ``21xx``: the service and its number."""
        layers = {0x1A: KWP_RECUI, 0x21: KWP_RDBLI}
        answers = []
        for one in identifiers:
            layer = layers[one >> 8]
            number = {"localIdentifier" if one >> 8 == 0x1A else "recordLocalIdentifier": one & 0xFF}
            answers.append(self.ask(label, built(layer(**number))))
        return answers

    def write(self, label: str, identifier: int, value: bytes) -> bytes | None:
        return self.ask(label, built(KWP_WDBLI(recordLocalIdentifier=identifier & 0xFF)) + value)

    def clear(self, label: str) -> bytes | None:
        return self.ask(label, built(KWP_CDI(groupOfDTC=0xFF00)))

    def read_faults(self, label: str, mask: int = 0x00) -> bytes | None:
        return self.ask(label, bytes([0x18, mask]) + b"\xff\x00")  # scapy does not know 18

    def routine(self, label: str, number: int, option: bytes = b"", *, action: int = 1) -> bytes | None:
        return self.ask(label, built(KWP_SRBLI(routineLocalIdentifier=number)) + option)

    def load(self, label: str, block: Block, data: bytes, *, check: bool) -> bytes | None:
        """Erase, 34, all blocks, 37, perhaps the check; the first answer that is no good one, else the last."""
        number = bytes([block.number])
        steps: list[Callable[[], bytes | None]] = [
            partial(self.routine, label, ERASE, number),
            partial(self.ask, label, built(KWP_RD(memoryAddress=block.address, uncompressedMemorySize=len(data)))),
        ]
        for count, at in enumerate(range(0, len(data), self.block_bytes), start=1):
            chunk = data[at : at + self.block_bytes]
            asked = built(KWP_TD(blockSequenceCounter=count & 0xFF)) if self.counted else b"\x36"
            steps.append(partial(self.ask, label, asked + chunk, pause=False))
        steps.append(partial(self.ask, label, b"\x37"))
        if check:
            steps.append(partial(self.routine, label, CHECK, number + crc32(data).to_bytes(4, "big")))
        answer = None
        for step in steps:
            answer = step()
            if answer is None or answer[0] == 0x7F:
                return answer
        return answer
