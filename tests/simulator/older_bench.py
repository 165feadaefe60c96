"""A seat heater control unit of an invented maker that speaks KWP2000, and a lift gate unit that speaks GMW3110.

An :class:`OlderPlan` says what is done, in order, and what goes wrong, as ``bench.Plan`` does for UDS.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

from . import gmw, kwp
from .bus import Bus, Record
from .clock import MS
from .faults import Refuse
from .gmw import Gmw, GmwTester
from .kwp import KwpTester
from .memory import Block, crc16, crc32, image
from .module import Cyclic, Habits, Module
from .replies import EXTENDED, PROGRAMMING
from .scene import Scene, utc
from .tester import RecordingEnds
from .transport import Address
from .vin import with_check_sign

APPLICATION, CALIBRATION = 1, 2
VIN = 0x1A90


@dataclass(frozen=True)
class OlderPlan:
    """A session: acts by name, faults by name; ``counted``: blocks of KWP2000 begin with a counter."""

    acts: tuple[str, ...]
    faults: tuple[str, ...] = ()
    counted: bool = True
    check: bool = True


def trim(number: int) -> bytes:
    """Index, offset in 0.01, slope in 0.001, CRC-16."""
    body = bytes([number]) + (1830 + 19 * number).to_bytes(2, "big") + (977 - 8 * number).to_bytes(2, "big")
    return body + crc16(body).to_bytes(2, "big")


def blank(number: int) -> bytes:
    return bytes([number]) + b"\xff" * 6


class OlderBench(Scene):
    """What both benches share: the acts, in words that each dialect fills in."""

    label: str
    trims: tuple[int, ...]
    identity: tuple[int, ...]  # before and behind
    vin: str
    unit: Module

    def play(self) -> None:
        """All acts in order; then a little of the bus alone."""
        self.tester.until(0.3)
        try:
            for act in self.plan.acts:
                self.act(act)
        except RecordingEnds:
            self.after_break()
            return
        self.tester.keep_alive(False)
        self.run_on(2.0)

    plan: OlderPlan
    after_break: Callable[[], None] = staticmethod(lambda: None)

    def act(self, name: str) -> None:
        """One act of the plan."""
        ACTS[name](self)

    # -- acts of both

    def look(self) -> None:
        self.tester.keep_alive()
        self.tester.read(self.label, VIN, *self.identity, self.trims[0])
        self.did("read VIN, identity and a trim")

    def program(self) -> None:
        raise NotImplementedError

    def normal(self) -> None:
        raise NotImplementedError

    def unlock_for_writing(self) -> None:
        raise NotImplementedError

    def write_trims(self) -> None:
        self.unlock_for_writing()
        for number, identifier in enumerate(self.trims, start=1):
            self.tester.write(self.label, identifier, trim(number))
        self.did("wrote trims " + ", ".join(f"{one & 0xFF:02X}" for one in self.trims))

    def write_vin(self) -> None:
        self.tester.write(self.label, VIN, self.vin.encode())
        self.did("wrote the VIN")

    def read_identity(self) -> None:
        self.tester.read(self.label, *self.identity)

    def read_trims(self) -> None:
        self.tester.read(self.label, *self.trims)

    def read_vin(self) -> None:
        self.tester.read(self.label, VIN)

    def clear(self) -> None:
        self.tester.clear(self.label)  # type: ignore[attr-defined]
        self.did("faults cleared")

    def read_faults(self) -> None:
        self.tester.read_faults(self.label)

    def stop_if_bad(self, what: str, answer: bytes | None, good: int) -> None:
        """A tester that gets no good answer while programming looks what is left and stops.

        Raises:
            RecordingEnds: it was no good answer.
        """
        if answer is not None and answer[0] == good:
            self.did(what)
            return
        self.did(f"{what}: last answer {'none' if answer is None else answer.hex(' ').upper()}")
        for _ in range(3 if answer is None else 0):
            self.tester.present(self.label)
        self.tester.read(self.label, self.identity[0])
        self.run_on(3.0)
        self.tester.keep_alive(False)
        raise RecordingEnds

    def inside(self, ids: int, begins: bytes, act: Callable[[], None]) -> None:
        """Do ``act`` after the first frame of the third block of the part and three more frames."""
        seen = 0

        def watch(record: Record) -> None:
            nonlocal seen
            content = record.frame.data
            if record.frame.can_id == ids and content[0] >> 4 == 1 and content[2 : 2 + len(begins)] == begins:
                seen += 1
                if seen == 3:
                    self.bus.watchers.remove(watch)
                    self.tester.endpoint(self.label).after_frames = (3, act)

        self.bus.watchers.append(watch)

    def cleared_comes_back(self, positive: bytes, code: int, status: int) -> None:
        """Fault: 1.5 s behind the clear the code is there again."""

        def watch(record: Record) -> None:
            is_answer = record.frame.can_id == self.unit.endpoint.sends_on.can_id
            if is_answer and record.frame.data[1 : 1 + len(positive)] == positive:
                self.clock.after(1500 * MS, lambda: self.unit.dtcs.update({code: status}))

        self.bus.watchers.append(watch)


def _third_block(scene: OlderBench, act: Callable[[], None]) -> None:
    scene.captured.ends_inside = "download, third block"
    scene.inside(scene.unit.endpoint.hears_on.can_id, scene.block_begins, act)  # type: ignore[attr-defined]


def _tester_silent(scene: OlderBench) -> None:
    scene.after_break = lambda: scene.run_on(12.0)  # type: ignore[method-assign]
    _third_block(scene, lambda: setattr(scene.tester, "silent", True))


def _module_silent(scene: OlderBench) -> None:
    _third_block(scene, lambda: setattr(scene.unit, "mute", True))
    scene.captured.ends_inside = ""


def _spoils_trim(scene: OlderBench) -> None:
    value = trim(2)
    scene.unit.values.spoils[scene.trims[1]] = value[:2] + b"\x00" + value[3:]


FAULTS: dict[str, Callable[[OlderBench], None]] = {
    "tester-silent": _tester_silent,
    "module-silent": _module_silent,
    "stores-other-value": _spoils_trim,
    "transfer-refused": lambda scene: scene.unit.faults.append(scene.refused_block()),  # type: ignore[attr-defined]
    "ends-badly": lambda scene: scene.ends_badly(),  # type: ignore[attr-defined]
    "fault-returns": lambda scene: scene.fault_returns(),  # type: ignore[attr-defined]
}


class Kwp(OlderBench):
    """The seat heater control unit: 742 and 762, a distance that no custom names."""

    label = "SHU"
    trims = (0x2121, 0x2122, 0x2123)
    identity = (0x1A91, 0x1A94)
    vin = with_check_sign("E0VLT7P00RM004172")
    block_begins = b"\x36"

    def __init__(self, name: str, plan: OlderPlan, seed: int, *, bus: Bus | None = None) -> None:
        self.plan = plan
        super().__init__(
            name,
            seed,
            start=utc(2026, 11, 25, 8, 10),
            functional=Address(0x7DF),
            padding=0x00,
            speaks=KwpTester,
            bus=bus,
        )
        self.tester.pause_ns = (8 * MS, 60 * MS)
        self.tester.counted = plan.counted  # type: ignore[attr-defined]
        self.images = images("seat heater", 0x300, 0x180)
        self.unit = kwp_unit(self, Address(0x742), Address(0x762), counted=plan.counted)
        for fault in plan.faults:
            FAULTS[fault](self)

    def program(self) -> None:
        t = self.tester
        assert isinstance(t, KwpTester)
        self.stop_if_bad("programming session", t.session(self.label, PROGRAMMING), 0x50)
        self.stop_if_bad("unlocked", t.unlock(self.label), 0x67)
        for number in (APPLICATION, CALIBRATION):
            block = self.unit.block(number)
            assert block is not None
            answer = t.load(self.label, block, self.images[number], check=self.plan.check)
            what = f"{block.name} downloaded" + (" and checked" if self.plan.check else ", not checked")
            self.stop_if_bad(what, answer, 0x71 if self.plan.check else 0x77)

    def normal(self) -> None:
        self.tester.rest(0.3)
        self.tester.reset(self.label)
        self.tester.rest(1.5)
        self.did(f"{self.label} reset; state afterwards: {self.unit.state}")

    def unlock_for_writing(self) -> None:
        self.tester.session(self.label, EXTENDED)
        self.tester.unlock(self.label)

    def refused_block(self) -> Refuse:
        return Refuse(b"\x36", skip=2, code=0x72)  # transfer aborted

    def ends_badly(self) -> None:
        self.unit.faults.append(Refuse(b"\x37", code=0x77))  # checksum of the block

    def fault_returns(self) -> None:
        self.cleared_comes_back(b"\x54", 0x9237, 0x60)


def images(text: str, application: int, calibration: int) -> dict[int, bytes]:
    """What is downloaded."""
    return {
        APPLICATION: image(f"{text} application 0509", application),
        CALIBRATION: image(f"{text} calibration 17", calibration),
    }


def kwp_unit(scene: Scene, request: Address, response: Address, *, counted: bool) -> Module:
    """The seat heater control unit as it comes from the shelf."""
    new = images("seat heater", 0x300, 0x180)
    old = {APPLICATION: image("seat heater 0507", 0x300), CALIBRATION: image("seat heater 16", 0x180)}
    unit = scene.add(
        "SHU", request, response,
        {
            VIN: b"\xff" * 17, 0x1A91: b"SHU-0507", 0x1A94: b"SHC-16",
            **{0x2120 + number: blank(number) for number in (1, 2, 3)},
        },
        blocks=(
            Block.holding("application", APPLICATION, 0x010000, old[APPLICATION]),
            Block.holding("calibration", CALIBRATION, 0x018000, old[CALIBRATION]),
        ),
        dtcs={0x9237: 0x60}, cyclic=(Cyclic(Address(0x2C4), 100 * MS),),
        habits=Habits(
            erase_ns={APPLICATION: 700 * MS, CALIBRATION: 300 * MS}, block_length=0x62, boot_ns=900 * MS,
        ),
    )  # fmt: skip
    unit.serve = partial(kwp.serve, counted=counted)
    unit.carries = {
        crc32(new[APPLICATION]): {0x1A91: b"SHU-0509"}, crc32(new[CALIBRATION]): {0x1A94: b"SHC-17"},
    }  # fmt: skip
    return unit


class Lift(OlderBench):
    """The lift gate unit: 24x and 64x, frames of its own on 54x."""

    label = "LGU"
    trims = (0x1AA1, 0x1AA2, 0x1AA3)
    identity = (0x1AC1, 0x1AC2)
    vin = with_check_sign("E0VHW2P00TM007733")
    block_begins = b"\x36\x00\x00\x01"  # of the parts, not of the helper program

    def __init__(self, name: str, plan: OlderPlan, seed: int, *, bus: Bus | None = None) -> None:
        self.plan = plan
        super().__init__(
            name,
            seed,
            start=utc(2026, 11, 25, 9, 40),
            functional=gmw.EVERYBODY,
            padding=0xAA,
            speaks=GmwTester,
            bus=bus,
        )
        self.tester.pause_ns = (8 * MS, 60 * MS)
        self.unit, self.dialect = gmw_unit(self)
        for fault in plan.faults:
            FAULTS[fault](self)

    def program(self) -> None:
        t = self.tester
        assert isinstance(t, GmwTester)
        t.enter()
        self.stop_if_bad("programming enabled, unlocked", t.unlock(self.label), 0x67)
        parts = gmw_images()
        answer = t.load(self.label, gmw.HELPER_ADDRESS, parts[gmw.HELPER], run=True)
        self.stop_if_bad("helper program run in RAM", answer, 0x76)
        for number in (APPLICATION, CALIBRATION):
            block = self.unit.block(number)
            assert block is not None
            self.stop_if_bad(f"{block.name} downloaded", t.load(self.label, block.address, parts[number]), 0x76)

    def normal(self) -> None:
        assert isinstance(self.tester, GmwTester)
        self.tester.rest(0.3)
        self.tester.leave()
        self.tester.rest(1.5)
        self.did(f"return to normal mode; state afterwards: {self.unit.state}")

    def state(self) -> None:
        assert isinstance(self.tester, GmwTester)
        answer = self.tester.state(self.label)
        self.did(f"programmed state: {'no answer' if answer is None else answer.hex(' ').upper()}")
        if answer != b"\xe2\x00":
            self.read_identity()
            self.tester.keep_alive(False)
            self.run_on(2.0)
            raise RecordingEnds

    def unlock_for_writing(self) -> None:
        assert isinstance(self.tester, GmwTester)
        self.tester.unlock(self.label)

    def refused_block(self) -> Refuse:
        return Refuse(b"\x36\x00\x00\x01", skip=2, code=0x83)  # voltage out of range

    def ends_badly(self) -> None:
        """The module takes everything and does not start its calibration."""
        self.dialect.state = 0x03

        def not_good(module: Module) -> None:
            block = module.block(CALIBRATION)
            assert block is not None
            block.valid = False

        self.unit.at_restart_into_application.append(not_good)

    def fault_returns(self) -> None:
        self.cleared_comes_back(b"\x44", 0x127A04, 0x13)


def gmw_images() -> dict[int, bytes]:
    """What is downloaded."""
    return {
        **images("lift gate", 0x340, 0x150), gmw.HELPER: image("lift gate helper", 0xB0),
    }  # fmt: skip


def gmw_unit(scene: Scene) -> tuple[Module, Gmw]:
    """The lift gate unit as it comes from the shelf."""
    new = gmw_images()
    old = {APPLICATION: image("lift gate 0507", 0x340), CALIBRATION: image("lift gate 16", 0x150)}
    unit = scene.add(
        "LGU", Address(0x24B), Address(0x64B),
        {
            VIN: b"\xff" * 17, 0x1AB0: b"\x4b", 0x1AC1: bytes.fromhex("01406507"),
            0x1AC2: bytes.fromhex("01406616"), **{0x1AA0 + number: blank(number) for number in (1, 2, 3)},
        },
        blocks=(
            Block.holding("application", APPLICATION, 0x010000, old[APPLICATION]),
            Block.holding("calibration", CALIBRATION, 0x018000, old[CALIBRATION]),
            gmw.helper(new[gmw.HELPER]),
        ),
        dtcs={0x127A04: 0x13}, cyclic=(Cyclic(Address(0x1F5), 100 * MS),),
        habits=Habits(erase_ns={APPLICATION: 900 * MS, CALIBRATION: 400 * MS}, boot_ns=900 * MS),
    )  # fmt: skip
    dialect = Gmw(Address(0x54B))
    unit.serve = dialect.serve
    unit.carries = {
        crc32(new[APPLICATION]): {0x1AC1: bytes.fromhex("01406509")},
        crc32(new[CALIBRATION]): {0x1AC2: bytes.fromhex("01406617")},
    }
    return unit, dialect


ACTS: dict[str, Callable[[OlderBench], None]] = {
    "look": lambda scene: scene.look(),
    "program": lambda scene: scene.program(),
    "normal": lambda scene: scene.normal(),
    "restart": lambda scene: scene.normal(),
    "state": lambda scene: scene.state(),  # type: ignore[attr-defined]
    "write-trims": OlderBench.write_trims,
    "write-vin": OlderBench.write_vin,
    "read-identity": OlderBench.read_identity,
    "read-trims": OlderBench.read_trims,
    "read-vin": OlderBench.read_vin,
    "clear": OlderBench.clear,
    "read-faults": OlderBench.read_faults,
    "wait": lambda scene: scene.tester.rest(3.0),
}

KWP_JOB = (
    "look", "read-faults", "program", "normal", "read-identity", "write-trims", "write-vin", "restart", "read-trims",
    "read-vin", "clear", "read-faults",
)  # fmt: skip
GMW_JOB = (*KWP_JOB[:4], "state", *KWP_JOB[4:])


def _without(job: tuple[str, ...], *acts: str) -> tuple[str, ...]:
    return tuple(act for act in job if act not in acts)


def _plans(job: tuple[str, ...], bad_end: str) -> dict[str, OlderPlan]:
    good = OlderPlan(job)
    return {
        "all-good": good,
        "transfer-refused": replace(good, faults=("transfer-refused",)),
        "tester-silent": replace(good, faults=("tester-silent",)),
        "module-silent": replace(good, faults=("module-silent",)),
        bad_end: replace(good, faults=("ends-badly",)),
        "no-check": replace(good, acts=_without(job, "state", "read-identity"), check=False),
        "read-back-differs": replace(good, faults=("stores-other-value",)),
        "trims-not-read-back": replace(good, acts=_without(job, "read-trims")),
        "dtc-returns": replace(good, acts=(*job, "wait", "read-faults"), faults=("fault-returns",)),
    }


def _session(world: type[OlderBench], name: str, plan: OlderPlan, seed: int) -> tuple[OlderBench, Callable[[], None]]:
    scene = world(name, plan, seed)  # type: ignore[call-arg]
    return scene, scene.play


_OF_KWP = {
    **_plans(KWP_JOB, "exit-refused"),
    "no-counter": OlderPlan(KWP_JOB, counted=False, check=False),
}
_OF_GMW = _plans(GMW_JOB, "state-bad")

SESSIONS = {
    **{f"kwp-{name}": partial(_session, Kwp, f"kwp-{name}", plan) for name, plan in _OF_KWP.items()},
    **{f"gmw-{name}": partial(_session, Lift, f"gmw-{name}", plan) for name, plan in _OF_GMW.items()},
}
