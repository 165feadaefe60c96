"""Coach 17: a transmission controller is replaced by a remanufactured one, programmed and given its trims.

Maker, vehicle, parts and numbers are invented. One method a stage, so that sessions are lists of stages.
"""

from __future__ import annotations

import struct
from datetime import datetime

from .clock import MS, S
from .memory import Block, crc16, crc32, image
from .module import Cyclic, Habits, Module
from .scene import Scene, utc
from .transport import Address

VIN = "E0KRC7HT5TD004217"
FOREIGN_VIN = "E0KRC5HTXRD002086"  # the coach the remanufactured unit came from
KEEPER_FOREIGN_VIN = "E0KRC7HT9TD004205"  # for the keeper of another coach

DRIVER, APPLICATION, CALIBRATION = 1, 2, 3
DRIVER_ADDRESS, APPLICATION_ADDRESS, CALIBRATION_ADDRESS = 0x40008000, 0x00020000, 0x00100000
DRIVER_IMAGE = image("coach driver", 0x600)
APPLICATION_IMAGE = image("coach application", 0x6000)
CALIBRATION_IMAGE = image("coach calibration 0418", 0x1000)
OLD_CALIBRATION_IMAGE = image("coach calibration 0412", 0x1000)
OLD_APPLICATION_IMAGE = image("coach application old", 0x6000)

SERIALS = ("26041187", "26041193", "26041202", "26041210", "26041216", "26041221", "26041230")
PRESSURES = (  # half kPa at 100, 200 … 800 mA
    (0x000C, 0x0097, 0x0197, 0x0293, 0x0395, 0x0494, 0x0593, 0x068F),
    (0x000C, 0x0092, 0x018E, 0x028C, 0x0388, 0x0489, 0x0583, 0x067E),
    (0x000C, 0x0095, 0x0192, 0x0291, 0x038F, 0x0491, 0x058C, 0x068B),
    (0x000C, 0x008F, 0x018F, 0x0287, 0x0387, 0x0485, 0x057E, 0x067C),
    (0x000C, 0x009A, 0x019A, 0x0296, 0x0399, 0x0498, 0x0597, 0x0696),
    (0x000C, 0x0096, 0x0191, 0x0290, 0x038C, 0x048E, 0x0587, 0x0688),
    (0x000C, 0x0093, 0x0194, 0x028D, 0x0391, 0x048A, 0x058F, 0x0681),
)


def solenoid_record(number: int) -> bytes:
    """Version, index, serial, eight pressures, CRC-16 over all before it."""
    body = bytes([2, number]) + bytes.fromhex(SERIALS[number - 1]) + struct.pack(">8H", *PRESSURES[number - 1])
    return body + crc16(body).to_bytes(2, "big")


RECORDS = tuple(solenoid_record(number) for number in range(1, 8))
SET_RECORD = b"VB260417" + bytes([7]) + crc32(b"".join(RECORDS)).to_bytes(4, "big")
BLANK_RECORDS = tuple(bytes([2, number]) + b"\xff" * 22 for number in range(1, 8))
TRIMS = {0x4A10 + at: record for at, record in enumerate(RECORDS)} | {0x4A1F: SET_RECORD}
BLANK_TRIMS = {0x4A10 + at: record for at, record in enumerate(BLANK_RECORDS)} | {0x4A1F: b"\xff" * 13}
SENSOR_OFFSET = bytes.fromhex("FFF6")
CONFIGURATION = bytes.fromhex("141F0C8001005003")
FILL_VOLUMES = struct.pack(">5H", 842, 1105, 967, 1312, 771)
FINGERPRINT = bytes.fromhex("261124445054390017")
NEXT_DAY_FINGERPRINT = bytes.fromhex("261125445054390017")

IDENTITY_BEFORE = {
    0xF187: b"LW-7741-02", 0xF188: b"DUC0726A1", 0xF18C: b"7741024400318", 0xF191: b"LWH-7741-B",
    0xF1A2: b"RC7-CITY-0412", 0xF1A3: crc32(OLD_CALIBRATION_IMAGE).to_bytes(4, "big"),
}  # fmt: skip
IDENTITY_NEW_UNIT = IDENTITY_BEFORE | {0xF187: b"LW-7741-03R", 0xF18C: b"7741035100092"}
IDENTITY_AFTER = {0xF188: b"DUC0726A3", 0xF1A2: b"RC7-CITY-0418", 0xF1A3: crc32(CALIBRATION_IMAGE).to_bytes(4, "big")}
BOOT_ID = b"\x01DUCBOOT-0104"

LOST_TRANSMISSION = 0xC10187  # U0101-87
NEVER_LEARNED = 0x1A4254  # maker's, invented: P1A42, calibration missing


def physical(unit: int) -> tuple[Address, Address]:
    """Request and response id of normal fixed addressing, tester F1. ISO 15765-2:2016, 10.3.3 (M)."""
    return Address(0x18DA00F1 | unit << 8, True), Address(0x18DAF100 | unit, True)


FUNCTIONAL = Address(0x18DBFEF1, True)
START_MESSAGE = Address(0x18FFB02A, True)
SEEDS = (0x5A3C91E7, 0x11C0FFEE, 0x7E2B4406)
IDENTITY = (0xF187, 0xF188, 0xF18C, 0xF191, 0xF1A2)


class Coach(Scene):
    """The coach on the bench of the night shift, with the unit named by ``unit``: new, old, dead or bricked."""

    def __init__(self, name: str, seed: int, *, start: datetime | None = None, unit: str = "new", volts: Volts = None,
                 keeper_vin: str = VIN) -> None:  # fmt: skip
        super().__init__(name, seed, start=start or utc(2026, 11, 24, 22, 0), functional=FUNCTIONAL, padding=0xAA)
        self.volts = volts or ((0.0, 27.2), (12.0, 27.1), (30.0, 27.3), (50.0, 27.2))
        self.duc = self._add_duc(unit)
        self.add("VBM", *physical(0x2B), {0xF190: keeper_vin.encode(), 0xF18C: b"VB260417", **TRIMS})
        lost = {LOST_TRANSMISSION: 0x09} if unit in ("bricked", "dead") else {}
        ten, fifty, hundred = 10 * MS, 50 * MS, 100 * MS
        tiv = self.add("TIV", *physical(0x31), {0xF190: VIN.encode()}, dtcs=lost,
                       cyclic=(Cyclic(Address(0x0CFF1131, True), ten),))  # fmt: skip
        tiv.supply_volts = self.supply
        self.add("BRC", *physical(0x28), {0xF190: VIN.encode()},
                 cyclic=(Cyclic(Address(0x18FF2028, True), fifty),))  # fmt: skip
        self.add("VGW", *physical(0x10), {0xF190: VIN.encode(), 0x4D05: CONFIGURATION},
                 habits=Habits(obeys_quiet=False), cyclic=(Cyclic(Address(0x18FF3010, True), hundred),))  # fmt: skip
        self.tester.block_pause_ns = (240 * MS, 420 * MS)
        if unit == "bricked":
            self._switch_on()

    def _switch_on(self) -> None:
        """A cold start: everybody wakes up, each in its own time."""
        for module in self.modules.values():
            module.restart(silence_ns=self.rng.randint(250, 700) * MS, orderly=False)

    def _add_duc(self, unit: str) -> Module:
        habits = Habits(
            start_message=START_MESSAGE, erase_ns={APPLICATION: 2400 * MS, CALIBRATION: 600 * MS}, learn_routine=0x0340,
            loader_identifiers=(0xF180, 0xF184, 0xF186, 0xF442),
        )  # fmt: skip
        application = Block.holding("application", APPLICATION, APPLICATION_ADDRESS, OLD_APPLICATION_IMAGE)
        calibration = Block.holding("calibration", CALIBRATION, CALIBRATION_ADDRESS, OLD_CALIBRATION_IMAGE)
        if unit == "bricked":
            application.erase()
            application.content[:10_240], application.received = APPLICATION_IMAGE[:10_240], 10_240
        common = {0xF180: BOOT_ID, 0xF184: b"\x00" * 9}
        if unit in ("old", "dead"):
            values = IDENTITY_BEFORE | TRIMS | {
                0xF190: VIN.encode(), 0x4D05: CONFIGURATION, 0x4C20: SENSOR_OFFSET, 0x4B01: FILL_VOLUMES,
            }  # fmt: skip
            dtcs = {0x17A396: 0x2F}
        else:
            values = IDENTITY_NEW_UNIT | BLANK_TRIMS | {
                0xF190: FOREIGN_VIN.encode(), 0x4D05: bytes.fromhex("13880C800000FF00"), 0x4C20: b"\x00\x00",
                0x4B01: b"\xff" * 10,
            }  # fmt: skip
            dtcs = {NEVER_LEARNED: 0x2F}
        module = self.add(
            "DUC", *physical(0x2A), common | values, dtcs=dtcs, habits=habits, seeds=SEEDS,
            blocks=(Block.ram("driver", DRIVER, DRIVER_ADDRESS, 0x600), application, calibration),
            cyclic=(Cyclic(Address(0x0CFF102A, True), 10 * MS),),
        )  # fmt: skip
        module.supply_volts = self.supply
        module.carries = {
            crc32(APPLICATION_IMAGE): {0xF188: IDENTITY_AFTER[0xF188]},
            crc32(CALIBRATION_IMAGE): {key: IDENTITY_AFTER[key] for key in (0xF1A2, 0xF1A3)},
        }
        module.learns = {0x4B01: FILL_VOLUMES}
        if unit == "dead":
            module.powered = False
        return module

    def supply(self) -> float:
        """The supply voltage now: the last of ``volts`` whose time has come."""
        now = self.clock.now_ns / S
        return [volts for since, volts in self.volts if since <= now][-1]

    # -- stages, in the order of the job

    def look_round(self) -> None:
        """VIN of every module, identity and one trim of the unit."""
        t = self.tester
        t.until(0.05)
        t.keep_alive()
        for label in ("VGW", "BRC", "TIV", "DUC"):
            t.read(label, 0xF190)
        t.read("DUC", *IDENTITY, 0x4A10)
        self.did("read VIN of VGW, BRC, TIV, DUC and identity of DUC")

    def read_keeper(self) -> None:
        """VIN and all records of the valve body memory."""
        self.tester.until(6.0)
        self.tester.read("VBM", 0xF190, *TRIMS)
        self.did("read VIN and trims of VBM")

    def read_supply(self, at: float) -> None:
        """F442 of the unit."""
        self.tester.until(at)
        self.tester.read("DUC", 0xF442)

    def plan_supply(self, *seconds: float, label: str = "DUC") -> None:
        """F442 again at these times, between two other requests."""
        for second in seconds:
            self.tester.errand(second, lambda: self.tester.read(label, 0xF442))

    def quiet(self) -> None:
        self.tester.until(10.0)
        self.tester.quiet_everybody()
        self.did("silenced normal messages and storing of faults, functionally")

    def enter_loader(self, fingerprint: bytes = FINGERPRINT) -> None:
        """10 02, unlock, fingerprint."""
        t = self.tester
        t.until(11.0)
        t.session("DUC", 2)
        t.unlock("DUC")
        t.until(12.0)
        t.write("DUC", 0xF184, fingerprint)
        self.did("programming session, unlocked, fingerprint written")

    def load_driver(self) -> None:
        self.tester.until(12.2)
        self.tester.program("DUC", DRIVER, DRIVER_IMAGE)
        self.did("helper program loaded into RAM and checked")

    def load_application(self) -> None:
        self.tester.until(13.0)
        answer = self.tester.program("DUC", APPLICATION, APPLICATION_IMAGE, before_block=self.before_block)
        self.did(f"application: erase, download, check: last answer {_text(answer)}")

    def before_block(self, number: int) -> None:
        """Hook for faults in the middle of the application."""

    def load_calibration(self) -> None:
        answer = self.tester.program("DUC", CALIBRATION, CALIBRATION_IMAGE)
        self.did(f"calibration: erase, download, check: last answer {_text(answer)}")

    def fit_together(self) -> None:
        self.tester.routine("DUC", 0xFF01)
        self.did("asked whether the parts fit together")

    def restart(self, at: float, *, default_after: bool = False) -> None:
        t = self.tester
        t.until(at)
        t.reset("DUC")
        t.rest(2.4)
        if default_after:
            t.session("DUC", 1)
        self.did(f"DUC reset; state afterwards: {self.duc.state}")

    def make_it_this_coach(self, at: float, *, vin: str = VIN, trims: dict[int, bytes] | None = None) -> None:
        """VIN, configuration, sensor offset and solenoid records."""
        t = self.tester
        t.until(at)
        t.session("DUC", 3)
        t.unlock("DUC")
        values = {
            0xF190: vin.encode(),
            0x4D05: CONFIGURATION,
            0x4C20: SENSOR_OFFSET,
            **(TRIMS if trims is None else trims),
        }
        for identifier, value in values.items():
            t.write("DUC", identifier, value)
        self.did("wrote VIN, 4D05, 4C20 and the solenoid records 4A10-4A16, 4A1F to DUC")

    def read_back(self, at: float, *, trims: bool = True) -> None:
        self.tester.until(at)
        self.tester.read("DUC", 0xF190, 0xF188, 0xF1A2, 0xF1A3, 0x4D05)
        if trims:
            self.tester.read("DUC", 0x4C20, *TRIMS)
        self.did("read back identity, VIN, configuration" + (" and trims" if trims else "; not the trims"))

    def learn(self) -> None:
        t = self.tester
        t.session("DUC", 3)
        t.routine("DUC", 0x0340)
        for _ in range(3):
            t.rest(1.5)
            t.routine("DUC", 0x0340, action=3)
        t.read("DUC", 0x4B01)
        self.did("clutch fill learned")

    def finish(self, at: float, *, restore: bool = True) -> None:
        """Messages back on, faults cleared and read again, default session."""
        t = self.tester
        t.until(at)
        if restore:
            t.wake_everybody()
        t.clear_everybody()
        for label in self.modules:
            t.read_faults(label)
        self.did("faults cleared and read again in all modules")
        if restore:
            t.default_everybody()
        else:
            self.did("normal messages never allowed again")
        t.keep_alive(False)
        self.run_on(4.0 if restore else 1.0)


Volts = tuple[tuple[float, float], ...] | None


def _text(answer: bytes | None) -> str:
    return "none" if answer is None else answer.hex(" ").upper()
