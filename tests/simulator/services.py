"""The services a simulated module answers, one small function each. ISO 14229-1:2020 clauses 10-16 (M).

Written by hand from the standard; the tester's side is built by udsoncan, so the two check each other.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from . import programming
from .clock import MS
from .keys import key_for
from .replies import (
    BAD_LENGTH,
    DEFAULT,
    EXTENDED,
    INVALID_KEY,
    LOCKED,
    NOT_IN_SESSION,
    OUT_OF_RANGE,
    PROGRAMMING,
    SEQUENCE,
    SERVICE_UNKNOWN,
    SUBFUNCTION_UNKNOWN,
    Refused,
    Reply,
)

if TYPE_CHECKING:
    from .module import Module

#: Services whose second byte is a sub-function with the suppress bit.
WITH_SUBFUNCTION = {0x10, 0x11, 0x19, 0x27, 0x28, 0x31, 0x3E, 0x85}


def serve(module: Module, request: bytes) -> Reply | None:
    """The answer of a healthy module."""
    handler = SERVICES.get(request[0])
    try:
        if handler is None:
            raise Refused(SERVICE_UNKNOWN)
        suppressed = request[0] in WITH_SUBFUNCTION and len(request) > 1 and bool(request[1] & 0x80)
        if suppressed:
            request = bytes([request[0], request[1] & 0x7F]) + request[2:]
        reply = handler(module, request)
    except Refused as refused:
        return Reply(bytes([0x7F, request[0], refused.code]))
    if suppressed and not reply.pending_ns:
        reply.final = None
    return reply


def _session(module: Module, request: bytes) -> Reply:
    wanted = request[1]
    known = (DEFAULT, PROGRAMMING) if module.in_loader else (DEFAULT, PROGRAMMING, EXTENDED)
    if wanted not in known:
        raise Refused(SUBFUNCTION_UNKNOWN)
    answer = bytes([0x50, wanted]) + bytes.fromhex("003201F4")
    if wanted == PROGRAMMING and not module.in_loader and module.habits.boots_into_loader:
        return _jump_into_loader(module, request, answer)
    if wanted == DEFAULT and module.in_loader and module.application_valid and module.habits.boots_into_loader:
        return Reply(answer, after=module.restart)
    return Reply(answer, before=lambda: module.enter_session(wanted))


def _jump_into_loader(module: Module, request: bytes, answer: bytes) -> Reply:
    """78 from the application, a restart, 50 from the boot loader."""

    def jump() -> None:
        module.restart(silence_ns=module.habits.loader_ns, into_loader=True)

        def arrive() -> None:
            if module.can_send:
                module.enter_session(PROGRAMMING)
                module.endpoint.send(answer)

        module.clock.after(module.habits.loader_ns + 60 * MS, arrive)

    return Reply(None, take_ns=80 * MS, pending_ns=(30 * MS,), after=jump)


def _reset(module: Module, request: bytes) -> Reply:
    if request[1] not in (1, 2, 3):
        raise Refused(SUBFUNCTION_UNKNOWN)
    return Reply(bytes([0x51, request[1]]), after=module.restart)


def _tester_present(module: Module, request: bytes) -> Reply:
    if request[1] != 0:
        raise Refused(SUBFUNCTION_UNKNOWN)
    return Reply(b"\x7e\x00")


def _security(module: Module, request: bytes) -> Reply:
    level = module.habits.unlock_level
    if module.session == DEFAULT:
        raise Refused(NOT_IN_SESSION)
    if request[1] == level:
        if not module.unlocked:
            module.seed = module.seeds.pop(0) if module.seeds else module.rng.randrange(1, 1 << 32)
        seed = 0 if module.unlocked else module.seed
        return Reply(bytes([0x67, level]) + seed.to_bytes(4, "big"))
    if request[1] != level + 1:
        raise Refused(SUBFUNCTION_UNKNOWN)
    if not module.seed:
        raise Refused(SEQUENCE)
    seed, module.seed = module.seed, 0
    if request[2:] != key_for(seed, module.habits.key_constant).to_bytes(4, "big"):
        raise Refused(INVALID_KEY)
    module.unlocked = True
    return Reply(bytes([0x67, level + 1]))


def _communication(module: Module, request: bytes) -> Reply:
    if module.in_loader:
        raise Refused(SERVICE_UNKNOWN)
    if module.session == DEFAULT:
        raise Refused(NOT_IN_SESSION)
    if module.habits.obeys_quiet:
        module.quiet = request[1] in (1, 3)
    return Reply(bytes([0x68, request[1]]))


def _dtc_setting(module: Module, request: bytes) -> Reply:
    if module.in_loader:
        raise Refused(SERVICE_UNKNOWN)
    if module.session == DEFAULT:
        raise Refused(NOT_IN_SESSION)
    module.dtc_setting = request[1] == 1
    return Reply(bytes([0xC5, request[1]]))


def _read(module: Module, request: bytes) -> Reply:
    answer = bytearray([0x62])
    for at in range(1, len(request), 2):
        identifier = int.from_bytes(request[at : at + 2], "big")
        value = _value(module, identifier)
        if value is None:
            raise Refused(OUT_OF_RANGE)
        answer += request[at : at + 2] + value
    return Reply(bytes(answer))


def _value(module: Module, identifier: int) -> bytes | None:
    if module.in_loader and identifier not in module.habits.loader_identifiers:
        return None
    if identifier == 0xF186:
        in_loader = module.in_loader and module.habits.loader_reports_programming
        return bytes([PROGRAMMING if in_loader else module.session])
    if identifier == 0xF442 and module.supply_volts is not None:
        return round(module.supply_volts() * 1000).to_bytes(2, "big")
    return module.values.read(identifier)


def _write(module: Module, request: bytes) -> Reply:
    identifier = int.from_bytes(request[1:3], "big")
    before = module.values.read(identifier)
    if module.session == DEFAULT:
        raise Refused(NOT_IN_SESSION)
    if before is None or (module.in_loader and identifier not in (0xF184, 0xF185, 0xF198, 0xF199)):
        raise Refused(OUT_OF_RANGE)
    if module.habits.write_needs_unlock and not module.unlocked:
        raise Refused(LOCKED)
    if len(request) - 3 != len(before):
        raise Refused(BAD_LENGTH)
    return Reply(
        bytes([0x6E]) + request[1:3],
        take_ns=module.rng.randint(14, 42) * MS,
        before=lambda: module.values.write(identifier, request[3:]),
    )


def _clear(module: Module, request: bytes) -> Reply:
    if module.in_loader:
        raise Refused(SERVICE_UNKNOWN)
    if request[1:] != b"\xff\xff\xff":
        raise Refused(OUT_OF_RANGE)
    return Reply(b"\x54", take_ns=module.rng.randint(15, 45) * MS, before=module.dtcs.clear)


def _read_dtcs(module: Module, request: bytes) -> Reply:
    if module.in_loader:
        raise Refused(SERVICE_UNKNOWN)
    if request[1] != 0x02:
        raise Refused(SUBFUNCTION_UNKNOWN)
    answer = bytearray([0x59, 0x02, 0xFF])
    for code, status in sorted(module.dtcs.items()):
        if status & request[2]:
            answer += code.to_bytes(3, "big") + bytes([status])
    return Reply(bytes(answer))


def _vehicle_information(module: Module, request: bytes) -> Reply:
    """Service 09 of SAE J1979: 02 VIN, 04 calibration ids, 06 calibration verification numbers (M)."""
    if module.in_loader:
        raise Refused(SERVICE_UNKNOWN)
    value = {
        0x02: module.values.read(0xF190),
        0x04: module.values.read(0xF804),
        0x06: module.values.read(0xF806),
    }.get(request[1])
    if value is None:
        raise Refused(SUBFUNCTION_UNKNOWN)
    if request[1] == 0x04:
        value = value.ljust(16, b"\x00")
    return Reply(bytes([0x49, request[1], 0x01]) + value)


SERVICES: dict[int, Callable[[Module, bytes], Reply]] = {
    0x09: _vehicle_information,
    0x10: _session,
    0x11: _reset,
    0x14: _clear,
    0x19: _read_dtcs,
    0x22: _read,
    0x27: _security,
    0x28: _communication,
    0x2E: _write,
    0x31: programming.routine,
    0x34: programming.request_download,
    0x36: programming.transfer_data,
    0x37: programming.transfer_exit,
    0x3E: _tester_present,
    0x85: _dtc_setting,
}
