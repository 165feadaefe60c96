"""The person with the tester: asks, waits, goes on, as a script. Requests are built by udsoncan."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from udsoncan import CommunicationType, DataFormatIdentifier, MemoryLocation, Response, services

from .bus import Bus
from .clock import MS, US, S
from .keys import key_for
from .memory import Block, crc32
from .module import Module
from .programming import check_option, erase_option
from .transport import Address, Endpoint


class RecordingEnds(Exception):  # noqa: N818  (it is how a script stops, not an error)
    """The script stops here: the recording is over, or somebody fell silent."""


class Tester:
    """One source of requests on the bus; every call lets the clock run until it is done."""

    def __init__(self, bus: Bus, rng: Random, *, functional: Address, padding: int | None) -> None:
        self.bus, self.clock, self.rng = bus, bus.clock, rng
        self.padding, self.functional_address = padding, functional
        self.silent = False
        self.wait_ns = 2 * S  # for the first answer; and 6 s after a 78
        self.pause_ns = (4 * MS, 40 * MS)  # between two requests
        self.block_pause_ns = (1 * MS, 4 * MS)
        self.errands: list[tuple[int, Callable[[], None]]] = []  # done between two requests once due
        self._endpoints: dict[str, Endpoint] = {}
        self._modules: dict[str, Module] = {}
        self._answers: dict[str, list[bytes]] = {}
        self._broadcast = Endpoint(
            bus, rng, self, send=functional, hear=Address(0x1FFFFFFF, True), padding=padding, message=lambda _: None
        )
        self._keeps_alive = False

    @property
    def can_send(self) -> bool:
        return not self.silent

    def meet(self, module: Module, *, request: Address, response: Address) -> None:
        """Open a link to a module."""
        answers = self._answers.setdefault(module.label, [])
        self._modules[module.label] = module
        self._endpoints[module.label] = Endpoint(
            self.bus, self.rng, self, send=request, hear=response, padding=self.padding, message=answers.append
        )

    def endpoint(self, label: str) -> Endpoint:
        """The tester's end of a link (faults hang there; tests compare what was sent)."""
        return self._endpoints[label]

    # -- time

    def until(self, seconds: float) -> None:
        """Do nothing until so many seconds after the start (errands are run)."""
        self._idle_until(round(seconds * 1000) * MS)

    def rest(self, seconds: float) -> None:
        """Do nothing for a while."""
        self._idle_until(self.clock.now_ns + round(seconds * 1000) * MS)

    def _idle_until(self, end_ns: int) -> None:
        while self.errands and self.errands[0][0] <= end_ns:
            self.clock.run_until(max(self.errands[0][0], self.clock.now_ns))
            self._run_errands()
        self.clock.run_until(end_ns)

    def errand(self, seconds: float, act: Callable[[], None]) -> None:
        """Something to do between two requests, once that time has come."""
        self.errands.append((round(seconds * 1000) * MS, act))
        self.errands.sort(key=lambda errand: errand[0])

    def _run_errands(self) -> None:
        while self.errands and self.errands[0][0] <= self.clock.now_ns:
            self.errands.pop(0)[1]()

    def keep_alive(self, on: bool = True) -> None:
        """Functional 3E 80 every two seconds, also in the middle of messages."""
        if on and not self._keeps_alive:
            self._keeps_alive = True
            self._beat()
        self._keeps_alive = on

    def _beat(self) -> None:
        if self._keeps_alive and not self.silent:
            self._broadcast.send(self.alive())
            self.clock.after(2 * S + self.rng.randint(-900, 900) * US, self._beat)

    def alive(self) -> bytes:
        """Tester present that nobody answers."""
        return services.TesterPresent.make_request().get_payload(suppress_positive_response=True)

    # -- asking

    def functional(self, request: bytes, *, wait_s: float = 0.12) -> dict[str, bytes]:
        """To everybody at once; what each answered within ``wait_s``."""
        self._clear_answers()
        self._broadcast.send(request)
        self.clock.run_until(self.clock.now_ns + round(wait_s * S))
        return {label: answers[-1] for label, answers in self._answers.items() if answers}

    def _clear_answers(self) -> None:
        for answers in self._answers.values():
            answers.clear()

    def ask(self, label: str, request: bytes, *, pause: bool = True) -> bytes | None:
        """One physical request and its final answer; ``None`` when none came in time.

        Raises:
            RecordingEnds: the tester fell silent.
        """
        self._run_errands()
        if pause:
            self.clock.run_until(self.clock.now_ns + self.rng.randint(*self.pause_ns))
        if self.silent:
            raise RecordingEnds
        answers = self._answers[label]
        answers.clear()
        sent_at: list[int] = []
        self._endpoints[label].send(request, lambda: sent_at.append(self.clock.now_ns))
        self.clock.run_until(self.clock.now_ns + 20 * S, lambda: bool(sent_at or answers or self.silent))
        limit = self.clock.now_ns + self.wait_ns
        while True:
            self.clock.run_until(limit, lambda: bool(answers) or self.silent)
            if self.silent:
                raise RecordingEnds
            if not answers:
                return None
            answer = answers.pop(0)
            if answer[:1] == b"\x7f" and answer[1:2] == request[:1] and answer[2:3] == b"\x78":
                limit = self.clock.now_ns + 6 * S
            elif _belongs(request, answer):
                return answer

    def must(self, label: str, request: bytes) -> bytes:
        """As :meth:`ask`, where the script has no plan for anything but a positive answer.

        Raises:
            AssertionError: another answer: the scenario itself is wrong.
        """
        answer = self.ask(label, request)
        assert answer is not None and answer[0] == request[0] + 0x40, (label, request.hex(" "), answer)
        return answer

    # -- what one asks

    def read(self, label: str, *identifiers: int) -> list[bytes | None]:
        """22, one identifier a request; the whole answers."""
        return [self.ask(label, b"\x22" + identifier.to_bytes(2, "big")) for identifier in identifiers]

    def write(self, label: str, identifier: int, value: bytes) -> bytes | None:
        """2E."""
        return self.ask(label, b"\x2e" + identifier.to_bytes(2, "big") + value)

    def session(self, label: str, number: int) -> bytes | None:
        """10."""
        return self.ask(label, services.DiagnosticSessionControl.make_request(number).get_payload())

    def reset(self, label: str, kind: int = 1) -> bytes | None:
        """11."""
        return self.ask(label, services.ECUReset.make_request(kind).get_payload())

    def unlock(self, label: str, *, constant: int | None = None) -> bytes | None:
        """27: seed and key."""
        habits = self._modules[label].habits
        level = habits.unlock_level
        mode = services.SecurityAccess.Mode
        seed = self.ask(label, services.SecurityAccess.make_request(level, mode.RequestSeed).get_payload())
        if seed is None or seed[0] != 0x67 or not any(seed[2:]):
            return seed
        key = key_for(int.from_bytes(seed[2:], "big"), habits.key_constant if constant is None else constant)
        return self.ask(
            label, services.SecurityAccess.make_request(level, mode.SendKey, key.to_bytes(4, "big")).get_payload()
        )

    def routine(self, label: str, number: int, option: bytes = b"", *, action: int = 1) -> bytes | None:
        """31."""
        return self.ask(label, services.RoutineControl.make_request(number, action, option or None).get_payload())

    def erase(self, label: str, block: Block) -> bytes | None:
        """31 01 FF00 with the option of this make."""
        return self.routine(label, 0xFF00, erase_option(self._modules[label], block))

    def check(self, label: str, block: Block, crc: int) -> bytes | None:
        """The make's own check routine."""
        module = self._modules[label]
        return self.routine(label, module.habits.check_routine, check_option(module, block, crc))

    def download(self, label: str, address: int, data: bytes, *, before_block: Callable[[int], None] | None = None,
                 repeats: int = 0) -> bytes | None:  # fmt: skip
        """34, all 36 and 37; stops at the first answer that is not positive and hands it back.

        ``before_block`` is called with the number of each block (from 1) before it is sent; ``repeats`` times
        a block whose answer did not come is sent again.
        """
        place = MemoryLocation(address, len(data), address_format=32, memorysize_format=32)
        request = services.RequestDownload.make_request(place, DataFormatIdentifier()).get_payload()
        answer = self.ask(label, request)
        if answer is None or answer[0] != 0x74:
            return answer
        room = services.RequestDownload.interpret_response(Response.from_payload(answer)).service_data.max_length - 2
        for number, at in enumerate(range(0, len(data), room), start=1):
            self._idle_until(self.clock.now_ns + self.rng.randint(*self.block_pause_ns))
            if before_block is not None:
                before_block(number)
            block = services.TransferData.make_request(number & 0xFF, data[at : at + room]).get_payload()
            answer = self.ask(label, block, pause=False)
            for _ in range(repeats if answer is None else 0):
                answer = answer or self.ask(label, block)
            if answer is None or answer[0] != 0x76:
                return answer
        return self.ask(label, services.RequestTransferExit.make_request().get_payload())

    def program(self, label: str, number: int, data: bytes, *, before_block: Callable[[int], None] | None = None,
                repeats: int = 0, check: bool = True) -> bytes | None:  # fmt: skip
        """Erase, download and check one block; the last answer."""
        block = self._modules[label].block(number)
        assert block is not None
        if not block.in_ram:
            answer = self.erase(label, block)
            if answer is None or answer[0] != 0x71:
                return answer
        answer = self.download(label, block.address, data, before_block=before_block, repeats=repeats)
        if answer is None or answer[0] != 0x77 or not check:
            return answer
        return self.check(label, block, crc32(data))

    # -- to everybody

    def quiet_everybody(self) -> None:
        """Functional 10 83, 85 82, 28 83 01: nothing answers."""
        for request in (
            services.DiagnosticSessionControl.make_request(3),
            services.ControlDTCSetting.make_request(2),
            services.CommunicationControl.make_request(3, NORMAL_MESSAGES),
        ):
            self.functional(request.get_payload(suppress_positive_response=True))

    def wake_everybody(self) -> None:
        """Functional 28 80 01, 85 81: nothing answers."""
        for request in (
            services.CommunicationControl.make_request(0, NORMAL_MESSAGES),
            services.ControlDTCSetting.make_request(1),
        ):
            self.functional(request.get_payload(suppress_positive_response=True))

    def clear_everybody(self) -> dict[str, bytes]:
        """Functional 14 FFFFFF."""
        return self.functional(services.ClearDiagnosticInformation.make_request(0xFFFFFF).get_payload(), wait_s=0.3)

    def default_everybody(self) -> None:
        """Functional 10 81."""
        request = services.DiagnosticSessionControl.make_request(1)
        self.functional(request.get_payload(suppress_positive_response=True))

    def read_faults(self, label: str, mask: int = 0xFF) -> bytes | None:
        """19 02."""
        return self.ask(label, services.ReadDTCInformation.make_request(2, status_mask=mask).get_payload())

    def present(self, label: str) -> bytes | None:
        """3E 00 to one module."""
        return self.ask(label, services.TesterPresent.make_request().get_payload())


NORMAL_MESSAGES = CommunicationType(CommunicationType.Subnet.node, normal_msg=True, network_management_msg=False)


def _belongs(request: bytes, answer: bytes) -> bool:
    return answer[0] == request[0] + 0x40 or (answer[0] == 0x7F and answer[1:2] == request[:1])
