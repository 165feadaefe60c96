"""A pump control unit of an invented maker, in plain UDS: the outcomes, in any mix, on any addressing.

A :class:`Plan` says what is done (acts, in order) and what goes wrong (faults). Every act copes with every
fault: a tester that gets no good answer while programming reads what is left and stops.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from random import Random

from .bench_faults import FAULTS
from .clock import MS
from .memory import Block, crc16, crc32, image
from .module import Cyclic, Habits, Module
from .scene import Scene, utc
from .tester import RecordingEnds
from .transport import Address, FlowControl
from .vin import with_check_sign

VIN = with_check_sign("E0VLK3P00SM018931")
APPLICATION, CALIBRATION = 1, 2
APPLICATION_ADDRESS, CALIBRATION_ADDRESS = 0x00010000, 0x00018000
CHECK, LEARN = 0x0266, 0x0270
TRIMS = (0x3A01, 0x3A02, 0x3A03, 0x3A04)
SOFTWARE, CALIBRATION_ID, CVN, PRIME_VOLUME = 0xF188, 0xF1A0, 0xF1A1, 0x3B10
FINGERPRINT = bytes.fromhex("261124445054390021")


@dataclass(frozen=True)
class Side:
    """The ids of one module."""

    request: Address
    response: Address


@dataclass(frozen=True)
class Addresses:
    """The ids of a bench: pump control unit, its memory unit, everybody."""

    pump: Side
    keeper: Side
    functional: Address


#: ISO 15765-2:2016, clause 10 (M): the same services on other addressing formats.
ADDRESSINGS = {
    "normal-11": Addresses(Side(Address(0x7E0), Address(0x7E8)), Side(Address(0x7E1), Address(0x7E9)), Address(0x7DF)),
    "normal-fixed": Addresses(
        Side(Address(0x18DA44F1, True), Address(0x18DAF144, True)),
        Side(Address(0x18DA45F1, True), Address(0x18DAF145, True)),
        Address(0x18DB33F1, True),
    ),
    "extended": Addresses(
        Side(Address(0x6F1, byte=0x44), Address(0x644, byte=0xF1)),
        Side(Address(0x6F1, byte=0x45), Address(0x645, byte=0xF1)),
        Address(0x6F1, byte=0xDF),
    ),
    "mixed": Addresses(
        Side(Address(0x744, byte=0x9C), Address(0x74C, byte=0x9C)),
        Side(Address(0x745, byte=0x9C), Address(0x74D, byte=0x9C)),
        Address(0x7DF, byte=0x9C),
    ),
    "mixed-29": Addresses(
        Side(Address(0x18CE44F1, True, 0x9C), Address(0x18CEF144, True, 0x9C)),
        Side(Address(0x18CE45F1, True, 0x9C), Address(0x18CEF145, True, 0x9C)),
        Address(0x18CD33F1, True, 0x9C),
    ),
}
#: What random plans draw from.
DRAWN = ("extended", "mixed", "normal-11", "normal-fixed")

WHOLE_JOB = (
    "look", "read-keeper", "enter-loader", "application", "calibration", "fit", "reset",
    "write-trims", "write-vin", "restart", "read-identity", "read-trims", "read-vin", "clear", "read-faults",
)  # fmt: skip


@dataclass(frozen=True)
class Plan:
    """A session put together: what is done, in order, and what goes wrong.

    ``acts`` are keys of :data:`ACTS`, ``faults`` of ``bench_faults.FAULTS``; ``random_plan`` makes one from a
    seed. ``background`` False leaves only diagnostic frames.
    """

    name: str = "bench"
    acts: tuple[str, ...] = WHOLE_JOB
    faults: tuple[str, ...] = ()
    addressing: str = "normal-11"
    padding: int | None = 0xCC
    block_length: int = 0x82
    application_size: int = 0x400
    calibration_size: int = 0x180
    block_size: int = 0  # of flow control
    separation_ms: int = 0
    background: bool = True
    tail_s: float = 2.0


def random_plan(rng: Random, *, faults: tuple[str, ...] = (), acts: tuple[str, ...] = WHOLE_JOB) -> Plan:
    """A plan with everything that does not change its outcome drawn by chance."""
    return Plan(
        name="random",
        acts=acts,
        faults=faults,
        addressing=rng.choice(DRAWN),
        padding=rng.choice((None, 0x00, 0x55, 0xAA, 0xCC, 0xFF)),
        block_length=rng.choice((0x22, 0x42, 0x82, 0x102)),
        application_size=rng.randrange(0x180, 0x400),
        calibration_size=rng.randrange(0x60, 0x180),
        block_size=rng.choice((0, 0, 4, 8)),
        separation_ms=rng.choice((0, 0, 1)),
        background=rng.random() < 0.7,
    )


def pump_trim(number: int) -> bytes:
    """Index, serial in BCD, flow in 0.01 ml, pressure offset in 0.1 kPa, CRC-16."""
    serial = bytes.fromhex(f"26{number * 1117 + 4031:04d}")
    body = bytes([number]) + serial + struct.pack(">Hh", 1180 + 7 * number, 3 - 2 * number)
    return body + crc16(body).to_bytes(2, "big")


def blank_trim(number: int) -> bytes:
    return bytes([number]) + b"\xff" * 9


class Bench(Scene):
    """The pump control unit, its memory unit and the tester."""

    def __init__(self, plan: Plan, seed: int) -> None:
        self.plan = plan
        addresses = ADDRESSINGS[plan.addressing]
        super().__init__(
            plan.name, seed, start=utc(2026, 11, 24, 21, 0), functional=addresses.functional, padding=plan.padding
        )
        self.tester.pause_ns = (8 * MS, 60 * MS)
        self.images = {
            APPLICATION: image("bench application 1207", plan.application_size),
            CALIBRATION: image("bench calibration 34", plan.calibration_size),
        }
        self.flow = FlowControl(plan.block_size, plan.separation_ms)
        self.pump = self._add_pump(addresses.pump)
        self._add_keeper(addresses.keeper)
        self.check_parts = True
        self.repeats = 0
        self.gives_up = True  # fault-free acts after a failed one make no sense; one fault clears this
        self.after_break: Callable[[], None] = lambda: self.run_on(1.0)
        for name in plan.faults:
            FAULTS[name](self)

    def _add_pump(self, side: Side) -> Module:
        old = {
            APPLICATION: image("bench application 1204", self.plan.application_size),
            CALIBRATION: image("bench calibration 31", self.plan.calibration_size),
        }
        values = {
            0xF180: b"\x01PCUBOOT-07", 0xF184: b"\x00" * 9, 0xF187: b"PCU-3306-A", 0xF18C: b"3306500417",
            0xF190: b"\xff" * 17, SOFTWARE: b"PCU-SW-1204", CALIBRATION_ID: b"PCU-CA-31",
            CVN: crc32(old[CALIBRATION]).to_bytes(4, "big"),
            PRIME_VOLUME: b"\xff\xff", **{0x3A00 + number: blank_trim(number) for number in range(1, 5)},
        }  # fmt: skip
        habits = Habits(
            erase_ns={APPLICATION: 900 * MS, CALIBRATION: 300 * MS}, erase_by_address=True,
            block_length=self.plan.block_length, check_routine=CHECK, learn_routine=LEARN, boot_ns=700 * MS,
        )  # fmt: skip
        pump = self.add(
            "PCU", side.request, side.response, values, habits=habits, dtcs={0x1B2354: 0x2F},
            blocks=(
                Block.holding("application", APPLICATION, APPLICATION_ADDRESS, old[APPLICATION]),
                Block.holding("calibration", CALIBRATION, CALIBRATION_ADDRESS, old[CALIBRATION]),
            ),
            cyclic=(Cyclic(Address(0x120), 100 * MS),) if self.plan.background else (), flow=self.flow,
        )  # fmt: skip
        new_calibration = self.images[CALIBRATION]
        pump.carries = {
            crc32(self.images[APPLICATION]): {SOFTWARE: b"PCU-SW-1207"},
            crc32(new_calibration): {CALIBRATION_ID: b"PCU-CA-34", CVN: crc32(new_calibration).to_bytes(4, "big")},
        }
        pump.learns = {PRIME_VOLUME: bytes.fromhex("0212")}
        return pump

    def _add_keeper(self, side: Side) -> None:
        values = {0xF190: VIN.encode(), **{0x3A00 + number: pump_trim(number) for number in range(1, 5)}}
        cyclic = (Cyclic(Address(0x3A8), 200 * MS),) if self.plan.background else ()
        self.add("PMU", side.request, side.response, values, cyclic=cyclic, flow=self.flow)

    def play(self) -> None:
        """All acts in order; then a little of the bus alone."""
        self.tester.until(0.3)
        try:
            for act in self.plan.acts:
                ACTS[act](self)
        except RecordingEnds:
            self.after_break()
            return
        self.tester.keep_alive(False)
        self.run_on(self.plan.tail_s)

    # -- acts

    def look(self) -> None:
        """What is there before: VIN, identity, trims of the unit."""
        self.tester.keep_alive()
        self.tester.read("PMU", 0xF190)
        self.tester.read("PCU", 0xF190, 0xF187, 0xF18C, SOFTWARE, CALIBRATION_ID, CVN, TRIMS[0])
        self.did("read VIN and identity")

    def read_keeper(self) -> None:
        self.tester.read("PMU", *TRIMS)
        self.did("read the trims of PMU")

    def enter_loader(self) -> None:
        self.tester.rest(0.5)
        self.tester.keep_alive()
        self.tester.session("PCU", 2)
        for _ in range(self.unlock_tries):
            answer = self.tester.unlock("PCU", constant=self.key_constant)
        if answer is None or answer[0] != 0x67:
            self._give_up("unlock", answer)
        self.tester.write("PCU", 0xF184, FINGERPRINT)
        self.did("programming session, unlocked, fingerprint written")

    unlock_tries = 1
    key_constant: int | None = None

    def load(self, number: int) -> None:
        """Erase, download and check one part."""
        block = self.pump.block(number)
        assert block is not None
        answer = self.tester.program("PCU", number, self.images[number], repeats=self.repeats, check=self.check_parts)
        good = b"\x71" if self.check_parts else b"\x77"
        if answer is None or answer[:1] != good or answer[4:] not in (b"", b"\x00"):
            self._give_up(block.name, answer)
        else:
            self.did(f"{block.name} downloaded" + (" and checked" if self.check_parts else ", not checked"))

    def _give_up(self, what: str, answer: bytes | None) -> None:
        self.did(f"{what}: last answer {'none' if answer is None else answer.hex(' ').upper()}")
        if not self.gives_up:
            return
        self.tester.read("PCU", 0xF180)
        self.tester.rest(1.0)
        self.tester.keep_alive(False)
        self.run_on(self.plan.tail_s)
        raise RecordingEnds

    def fit(self) -> None:
        self.tester.routine("PCU", 0xFF01)

    def reset(self) -> None:
        self.tester.rest(0.3)
        self.tester.reset("PCU")
        self.tester.rest(1.2)
        self.did(f"PCU reset; state afterwards: {self.pump.state}")
        self.after_reset()

    after_reset: Callable[[], None] = staticmethod(lambda: None)

    def _enter_extended(self) -> None:
        self.tester.session("PCU", 3)
        self.tester.unlock("PCU")

    def write_trims(self, identifiers: tuple[int, ...] = TRIMS) -> None:
        """The values of the keeper."""
        self._enter_extended()
        for identifier in identifiers:
            self.tester.write("PCU", identifier, pump_trim(identifier & 0xF))
        self.did("wrote trims " + ", ".join(f"{one:04X}" for one in identifiers))

    def write_vin(self) -> None:
        self.tester.write("PCU", 0xF190, VIN.encode())
        self.did("wrote the VIN")

    def read_identity(self) -> None:
        self.tester.read("PCU", SOFTWARE, CALIBRATION_ID, CVN)

    def read_trims(self) -> None:
        self.tester.read("PCU", *TRIMS)

    def read_vin(self) -> None:
        self.tester.read("PCU", 0xF190)

    def learn(self) -> None:
        t = self.tester
        t.session("PCU", 3)
        t.routine("PCU", LEARN)
        for _ in range(3):
            t.rest(0.7)
            t.routine("PCU", LEARN, action=3)
        t.read("PCU", PRIME_VOLUME)
        self.did("pump primed and volume learned")

    def clear(self) -> None:
        self.tester.ask("PCU", b"\x14\xff\xff\xff")
        self.did("faults of PCU cleared")

    def read_faults(self) -> None:
        self.tester.read_faults("PCU")


ACTS: dict[str, Callable[[Bench], None]] = {
    "look": Bench.look,
    "read-keeper": Bench.read_keeper,
    "enter-loader": Bench.enter_loader,
    "application": partial(Bench.load, number=APPLICATION),
    "calibration": partial(Bench.load, number=CALIBRATION),
    "fit": Bench.fit,
    "reset": Bench.reset,
    "restart": Bench.reset,
    "write-trims": Bench.write_trims,
    "write-first-trim": partial(Bench.write_trims, identifiers=TRIMS[:1]),
    "write-vin": Bench.write_vin,
    "read-identity": Bench.read_identity,
    "read-trims": Bench.read_trims,
    "read-first-trim": lambda bench: bench.tester.read("PCU", TRIMS[0]),
    "read-vin": Bench.read_vin,
    "learn": Bench.learn,
    "clear": Bench.clear,
    "read-faults": Bench.read_faults,
    "wait": lambda bench: bench.tester.rest(3.0),
    "background": lambda bench: bench.tester.rest(10.0),
}


def make(plan: Plan, seed: int) -> tuple[Bench, Callable[[], None]]:
    """The scene of a plan and its script."""
    bench = Bench(plan, seed)
    return bench, bench.play


def _without(*acts: str) -> tuple[str, ...]:
    return tuple(act for act in WHOLE_JOB if act not in acts)


_READ_BACKS = ("restart", "read-identity", "read-trims", "read-vin", "clear", "read-faults")

PLANS = {
    name: replace(plan, name=name)
    for name, plan in {
        "uds11-all-good": Plan(),
        "uds11-trims-not-read-back": Plan(acts=_without("read-trims")),
        "uds11-erase-refused": Plan(faults=("erase-refused",)),
        "uds11-ends-mid-transfer": Plan(faults=("recording-ends",)),
        "uds11-tester-silent": Plan(faults=("tester-silent",)),
        "uds11-module-silent": Plan(faults=("module-silent",)),
        "uds11-check-bad": Plan(faults=("check-bad",)),
        "uds11-transfer-refused": Plan(faults=("transfer-refused",)),
        "uds11-exit-refused": Plan(faults=("exit-refused",)),
        "uds11-no-check": Plan(acts=_without("fit", "read-identity"), faults=("parts-not-checked",)),
        "uds11-write-refused": Plan(faults=("write-refused",)),
        "uds11-read-back-differs": Plan(faults=("stores-other-value",)),
        "uds11-read-back-same-power-cycle": Plan(acts=_without("restart")),
        "uds11-reset-no-return": Plan(faults=("no-return",)),
        "uds11-boot-mode-after-reset": Plan(faults=("stays-in-loader",)),
        "uds11-second-attempt-good": Plan(
            acts=("look", "read-keeper", "enter-loader", "application", "wait", *WHOLE_JOB[2:]),
            faults=("first-attempt-fails",),
        ),
        "uds11-block-repeated": Plan(faults=("block-answer-lost",)),
        "uds11-dtc-returns": Plan(
            acts=("look", "read-faults", *WHOLE_JOB[1:], "wait", "read-faults"), faults=("dtc-returns",)
        ),
        "uds11-clear-not-read": Plan(acts=_without("read-faults")),
        "uds11-wrong-key": Plan(acts=("look", "read-keeper", "enter-loader"), faults=("wrong-key",)),
        "uds11-all-good-short": Plan(
            acts=(
                "look", "enter-loader", "calibration", "fit", "reset", "write-first-trim", *_READ_BACKS[:2],
                "read-first-trim", "clear", "read-faults",
            ),
            calibration_size=0x140, tail_s=0.5,
        ),
        "uds11-no-diagnostics": Plan(acts=("background",)),
        "uds11-only-reads": Plan(acts=("look", "read-keeper", "read-trims", "read-faults")),
        "uds11-doubled": Plan(faults=("doubled",)),
        "ext11-all-good": Plan(addressing="extended", application_size=0x240, calibration_size=0x140),
        "mix29-all-good": Plan(addressing="mixed-29", application_size=0x240, calibration_size=0x140),
    }.items()
}  # fmt: skip

SESSIONS = {name: partial(make, plan) for name, plan in PLANS.items()}
