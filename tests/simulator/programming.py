"""Erase, download, check and learn: services 31, 34, 36, 37 of a simulated module. ISO 14229-1:2020, 14-15 (M)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .clock import MS
from .memory import Block, crc32
from .replies import (
    BAD_LENGTH,
    DEFAULT,
    LOCKED,
    NOT_ACCEPTED,
    NOT_IN_SESSION,
    OUT_OF_RANGE,
    PROGRAMMING,
    SEQUENCE,
    WRONG_COUNTER,
    Refused,
    Reply,
)

if TYPE_CHECKING:
    from .module import Module
GOOD, DIFFERS, NOT_ERASED = 0x00, 0x05, 0x07
PARTS_DIFFER = 0x02
ERASE, DEPENDENCIES = 0xFF00, 0xFF01
START, RESULT = 0x01, 0x03


def request_download(module: Module, request: bytes) -> Reply:
    _needs_programming(module)
    n_size, n_address = request[2] >> 4, request[2] & 0xF
    if len(request) != 3 + n_address + n_size:
        raise Refused(BAD_LENGTH)
    address = int.from_bytes(request[3 : 3 + n_address], "big")
    size = int.from_bytes(request[3 + n_address :], "big")
    block = next((block for block in module.blocks if block.address == address), None)
    if block is None or size > block.size:
        raise Refused(OUT_OF_RANGE)
    if not block.erased and not block.in_ram:
        raise Refused(NOT_ACCEPTED)
    block.received = 0
    module.transfer, module.next_block, module.last_block = block, 1, b""
    module.transfer_size = size
    width = module.habits.length_bytes
    return Reply(bytes([0x74, width << 4]) + module.habits.block_length.to_bytes(width, "big"))


def transfer_data(module: Module, request: bytes) -> Reply:
    block = module.transfer
    if block is None:
        raise Refused(SEQUENCE)
    if request == module.last_block:  # the answer was lost: answer again, do not write twice
        return Reply(b"\x76" + request[1:2])
    if request[1] != module.next_block:
        raise Refused(WRONG_COUNTER)
    data = request[2:]
    if block.received + len(data) > module.transfer_size or len(request) > module.habits.block_length:
        raise Refused(OUT_OF_RANGE)
    block.content[block.received : block.received + len(data)] = data
    block.received += len(data)
    block.erased = False
    module.last_block = request
    module.next_block = (module.next_block + 1) & 0xFF
    return Reply(b"\x76" + request[1:2], take_ns=module.rng.randint(9, 26) * MS)


def transfer_exit(module: Module, request: bytes) -> Reply:
    block = module.transfer
    if block is None or block.received != module.transfer_size:
        raise Refused(SEQUENCE)
    module.transfer = None
    if module.habits.trusts_exit:
        block.valid = True
    return Reply(b"\x77")


def routine(module: Module, request: bytes) -> Reply:
    if len(request) < 4:
        raise Refused(BAD_LENGTH)
    action, number, option = request[1], int.from_bytes(request[2:4], "big"), request[4:]
    if number == module.habits.learn_routine and not module.in_loader:
        return _learn(module, request, action)
    if action != START:
        raise Refused(OUT_OF_RANGE)
    if number == ERASE:
        return _erase(module, request, option)
    if number == module.habits.check_routine:
        return _check(module, request, option)
    if number == DEPENDENCIES:
        return _fit_together(module, request)
    raise Refused(OUT_OF_RANGE)


def _status(request: bytes, status: int) -> bytes:
    return bytes([0x71]) + request[1:4] + bytes([status])


def _needs_programming(module: Module) -> None:
    if module.session != PROGRAMMING:
        raise Refused(NOT_IN_SESSION)
    if not module.unlocked:
        raise Refused(LOCKED)


def _named_block(module: Module, option: bytes) -> Block | None:
    if module.habits.erase_by_address:
        return next((b for b in module.blocks if option == erase_option(module, b)), None)
    return module.block(option[0]) if option else None


def erase_option(module: Module, block: Block) -> bytes:
    """How this make names a block to the erase routine."""
    if module.habits.erase_by_address:
        return b"\x44" + block.address.to_bytes(4, "big") + block.size.to_bytes(4, "big")
    return bytes([block.number])


def check_option(module: Module, block: Block, crc: int) -> bytes:
    """How this make asks for the check of a block."""
    name = bytes([block.number]) if module.habits.check_names_block else b""
    return name + crc.to_bytes(4, "big")


def _erase(module: Module, request: bytes, option: bytes) -> Reply:
    _needs_programming(module)
    block = _named_block(module, option)
    if block is None or block.in_ram:
        raise Refused(OUT_OF_RANGE)
    block.erase()
    habits = module.habits
    take = habits.erase_ns.get(block.number, 600 * MS)
    pending = tuple(range(habits.pending_from_ns, take, habits.pending_every_ns))
    return Reply(_status(request, GOOD), take_ns=take, pending_ns=pending)


def _check(module: Module, request: bytes, option: bytes) -> Reply:
    _needs_programming(module)
    if module.habits.check_names_block:
        block = module.block(option[0]) if option else None
        wanted = option[1:]
    else:
        block = next((b for b in module.blocks if b.received and not b.in_ram), None)
        wanted = option
    if block is None:
        raise Refused(OUT_OF_RANGE)
    if block.received == 0:
        return Reply(_status(request, NOT_ERASED))
    held = bytes(block.content[: block.received])
    good = crc32(held).to_bytes(4, "big") == wanted
    block.valid = good
    take = 30 * MS + len(held) * 20_000 // 1024 * 1000
    pending = (40 * MS,) if take > 48 * MS else ()
    return Reply(_status(request, GOOD if good else DIFFERS), take_ns=take, pending_ns=pending)


def _fit_together(module: Module, request: bytes) -> Reply:
    _needs_programming(module)
    return Reply(_status(request, GOOD if module.application_valid else PARTS_DIFFER), take_ns=25 * MS)


def _learn(module: Module, request: bytes, action: int) -> Reply:
    if module.session == DEFAULT:
        raise Refused(NOT_IN_SESSION)
    if action == START:
        module.learn_asked = 1
        return Reply(bytes([0x71]) + request[1:4], take_ns=20 * MS)
    if action != RESULT:
        raise Refused(OUT_OF_RANGE)
    if not module.learn_asked:
        raise Refused(SEQUENCE)
    module.learn_asked += 1
    if module.learn_asked <= 3:
        return Reply(_status(request, 0x01))
    module.values.stored |= module.learns
    return Reply(_status(request, 0x00))
