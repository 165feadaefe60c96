"""A control module with a boot loader, an application and a memory of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from random import Random

from .bus import Bus, Frame
from .clock import MS, S
from .faults import Fault
from .memory import Block, Values, crc32
from .replies import DEFAULT, Reply
from .services import serve
from .transport import Address, Endpoint, FlowControl

S3_NS = 5 * S

#: Never sent in answer to a functional request. ISO 14229-1:2020, 7.5.3 (M).
HIDDEN_WHEN_FUNCTIONAL = {0x11, 0x12, 0x31, 0x7E, 0x7F}


@dataclass
class Cyclic:
    """A message the application (or only the powered module) sends for ever."""

    address: Address
    period_ns: int
    length: int = 8


@dataclass
class Habits:
    """How a module of this make behaves; the scenario fixes them."""

    boots_into_loader: bool = True  # 10 02 restarts it in the boot loader
    obeys_quiet: bool = True  # 28 silences it
    start_message: Address | None = None  # byte 0: 01 boot loader, 02 application
    boot_ns: int = 1800 * MS  # silence of a restart
    loader_ns: int = 250 * MS  # silence of the jump into the boot loader
    p2_ns: tuple[int, int] = (3 * MS, 14 * MS)
    block_length: int = 0x402
    length_bytes: int = 2  # of the block length in 74
    erase_ns: dict[int, int] = field(default_factory=dict)  # block number: time
    pending_from_ns: int = 40 * MS  # first 78
    pending_every_ns: int = 1560 * MS
    unlock_level: int = 0x11
    key_constant: int = 0x4B1D0C35
    write_needs_unlock: bool = True
    loader_identifiers: tuple[int, ...] = (0xF180, 0xF186)
    loader_reports_programming: bool = True  # the boot loader calls every session of its own 02
    check_routine: int = 0x0312
    check_names_block: bool = True  # option = block number + CRC, else CRC only
    erase_by_address: bool = False  # option = 44 address size, else block number
    learn_routine: int | None = None
    trusts_exit: bool = False  # a complete transfer is valid without a check


class Module:
    """One node: hears requests, answers, restarts, forgets."""

    def __init__(
        self, bus: Bus, rng: Random, label: str, *, request: Address, response: Address, functional: Address,
        padding: int | None, values: dict[int, bytes], blocks: tuple[Block, ...] = (),
        dtcs: dict[int, int] | None = None, cyclic: tuple[Cyclic, ...] = (), habits: Habits | None = None,
        seeds: tuple[int, ...] = (), flow: FlowControl | None = None,
    ) -> None:  # fmt: skip
        self.bus, self.clock, self.rng, self.label = bus, bus.clock, rng, label
        self.habits = habits or Habits()
        self.blocks, self.values = blocks, Values(values)
        self.dtcs = dict(dtcs or {})
        self.seeds = list(seeds)
        self.link = f"{request.text()}:{response.text()}"
        self.serve: Callable[[Module, bytes], Reply | None] = serve  # its dialect
        self.faults: list[Fault] = []
        self.at_restart_into_application: list[Callable[[Module], None]] = []  # faults, once each
        self.powered, self.mute = True, False
        self.session, self.unlocked, self.seed = DEFAULT, False, 0
        self.quiet, self.dtc_setting = False, True
        self.transfer: Block | None = None
        self.next_block = 1
        self.last_block: bytes = b""
        self.transfer_size = 0
        self.learn_asked = 0
        self.carries: dict[int, dict[int, bytes]] = {}  # CRC-32 of an image: the identifiers that come out of it
        self.learns: dict[int, bytes] = {}  # what a finished learn routine leaves
        self.supply_volts: Callable[[], float] | None = None
        self._starting = False
        self._alive_until_ns = 0
        self._run = 0  # number of the current life, so that answers of an earlier one die with it
        self.in_loader = not self.application_valid
        self.padding, self.flow, self._functional = padding, flow, functional
        self.endpoint = self.open_link(request, response)
        for message in cyclic:
            self._start_cyclic(message)

    def open_link(self, request: Address, response: Address, *, hears_functional: bool = True) -> Endpoint:
        """Hear a tester on ``request`` (and on the functional id) and answer it on ``response``."""
        bus, rng, side = self.bus, self.rng, {"send": response, "padding": self.padding, "flow": self.flow}
        endpoint = Endpoint(bus, rng, self, hear=request, message=lambda m: self._hear(m, endpoint), **side)
        if hears_functional:
            hear_all = partial(self._hear, endpoint=endpoint, functional=True)
            Endpoint(bus, rng, self, hear=self._functional, message=hear_all, **side)
        return endpoint

    # -- state

    @property
    def can_send(self) -> bool:
        return self.powered and not self.mute

    @property
    def application_valid(self) -> bool:
        """Every part that stays is programmed and passed its check."""
        return all(block.valid for block in self.blocks if not block.in_ram)

    @property
    def state(self) -> str:
        """application, boot or silent."""
        if not self.can_send or self._starting:
            return "silent"
        return "boot" if self.in_loader else "application"

    def block(self, number: int) -> Block | None:
        return next((block for block in self.blocks if block.number == number), None)

    def truth(self) -> dict[str, object]:
        """What it really holds, for the truth file."""
        return {
            "link": self.link,
            "state": self.state,
            "application_valid": self.application_valid,
            "memory": {f"{block.address:08X}": block.truth() for block in self.blocks if not block.in_ram},
            "identifiers": {f"{key:04X}": self.values.stored[key].hex().upper() for key in sorted(self.values.stored)},
            "not_stored_yet": sorted(f"{key:04X}" for key in self.values.waiting),
            "dtcs": [{"code": f"{code:06X}", "status": f"{status:02X}"} for code, status in sorted(self.dtcs.items())],
        }

    # -- life

    def restart(self, *, silence_ns: int | None = None, into_loader: bool = False, orderly: bool = True) -> None:
        """Fall silent, store or forget, come back in the application when there is a valid one."""
        if orderly:
            self.values.store()
        else:
            self.values.forget()
        self._identify()
        self._end_session()
        self._run += 1
        self._starting = True
        run = self._run
        for block in self.blocks:
            if block.in_ram and not into_loader:
                block.erase()
        if not into_loader:
            for strike in self.at_restart_into_application:
                strike(self)
            self.at_restart_into_application = []

        def come_back() -> None:
            if run != self._run or not self.powered:
                return
            self._starting = False
            self.in_loader = into_loader or not self.application_valid or self.refuses_application
            if self.habits.start_message is not None:
                mode = 1 if self.in_loader else 2
                where = self.habits.start_message
                self.bus.send(Frame(where.can_id, where.extended, bytes([mode]).ljust(8, b"\x00")), self)

        self.clock.after(self.habits.boot_ns if silence_ns is None else silence_ns, come_back)

    refuses_application = False  # fault: stays in the boot loader although the application is valid

    def _identify(self) -> None:
        for block in self.blocks:
            if block.valid:
                self.values.stored |= self.carries.get(crc32(bytes(block.content)), {})

    def lose_power(self) -> None:
        """Everything not stored is gone; silent until :meth:`regain_power`."""
        self.powered = False
        self._run += 1
        self.values.forget()
        self._end_session()

    def regain_power(self) -> None:
        """A cold start."""
        self.powered = True
        self.restart(orderly=False)

    def enter_session(self, session: int) -> None:
        """Every change of session locks again and ends a transfer. ISO 14229-1:2020, 10.2 (M)."""
        self.unlocked, self.seed, self.transfer = False, 0, None
        self.session = session
        if session == DEFAULT:
            self.quiet, self.dtc_setting = False, True

    def _end_session(self) -> None:
        self.enter_session(DEFAULT)

    def _keep_session(self) -> None:
        self._alive_until_ns = self.clock.now_ns + S3_NS
        self.clock.at(self._alive_until_ns, self._session_may_end)

    def _session_may_end(self) -> None:
        if self.clock.now_ns >= self._alive_until_ns and self.session != DEFAULT and not self._starting:
            leave = self.in_loader and self.application_valid
            self._end_session()
            if leave:
                self.restart()

    # -- background

    def _start_cyclic(self, message: Cyclic) -> None:
        fixed = self.rng.randbytes(message.length - 2)
        counter = 0
        due = self.rng.randrange(message.period_ns)

        def tick() -> None:
            nonlocal counter, due
            counter += 1
            due += message.period_ns
            self.clock.at(due + self.rng.randrange(60_000), tick)
            if self.can_send and not (self.quiet or self.in_loader or self._starting):
                drift = (fixed[0] + counter // 23) & 0xFF
                data = bytes([drift, *fixed[1:], counter & 0xF, (drift + counter) & 0xFF])
                self.bus.send(Frame(message.address.can_id, message.address.extended, data), self)

        self.clock.at(due, tick)

    # -- requests

    def _hear(self, request: bytes, endpoint: Endpoint, functional: bool = False) -> None:
        if not self.can_send or self._starting or not request:
            return
        self._keep_session()
        reply = self._apply_faults(request)
        if reply is None:
            return
        code = reply.final[2] if reply.final and reply.final[0] == 0x7F else None
        if functional and code in HIDDEN_WHEN_FUNCTIONAL:
            return
        self._answer(request, reply, endpoint)

    def _apply_faults(self, request: bytes) -> Reply | None:
        striking = [fault for fault in self.faults if fault.strikes(request)]  # all of them count
        return striking[0].reply(self, request) if striking else self.serve(self, request)

    def _answer(self, request: bytes, reply: Reply, endpoint: Endpoint) -> None:
        run = self._run
        begin = self.clock.now_ns
        p2 = self.rng.randint(*self.habits.p2_ns)

        def still_here() -> bool:
            return run == self._run and self.can_send

        def pending() -> None:
            if still_here():
                self._keep_session()
                endpoint.send(bytes([0x7F, request[0], 0x78]))

        def final() -> None:
            if not still_here():
                return
            self._keep_session()
            if reply.before is not None:
                reply.before()
            if reply.final is not None:
                endpoint.send(reply.final, reply.after)
            elif reply.after is not None:
                reply.after()

        for offset in reply.pending_ns:
            self.clock.at(begin + offset, pending)
        self.clock.at(begin + max(reply.take_ns, p2), final)
