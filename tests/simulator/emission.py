"""A car that speaks emission diagnostics only (SAE J1979): an engine and a transmission unit, all invented.

Requests go to both on 7DF and are built by scapy 2.8.0 (scapy.contrib.automotive.obd); the answers are by hand.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from scapy.contrib.automotive.obd.obd import OBD
from scapy.contrib.automotive.obd.services import OBD_S01, OBD_S03, OBD_S04, OBD_S07, OBD_S09
from scapy.packet import Packet

from .clock import MS
from .memory import crc32
from .module import Cyclic, Module
from .replies import Reply
from .scene import Scene, utc
from .transport import Address
from .vin import with_check_sign

VIN = with_check_sign("E0VHX2P00TM002214")
#: Current data by parameter: load, coolant 90 °C, 812.5 per minute, standing, 14.1 V.
PARAMETERS = {0x04: "2C", 0x05: "82", 0x0C: "0C B2", 0x0D: "00", 0x1C: "06", 0x42: "37 14"}
CONFIRMED, PENDING = 0x08, 0x04  # bits of a fault
MONITOR_STATUS, LAMP = 0x01, 0x80
#: Monitors that the module has, behind the lamp and the count: all have run, and none since the clear. SAE J1979 (M).
ALL_RUN, NONE_RUN = "07 65 00", "77 65 65"


def _supported(numbers: list[int], block: int) -> bytes:
    """Four bytes: bit 31 is the first number behind the block; bit 0 says that a further block has some."""
    bits = sum(1 << (32 - (one - block)) for one in numbers if block < one <= block + 32)
    if any(one > block + 32 for one in numbers):
        bits |= 1
    return bits.to_bytes(4, "big")


@dataclass
class Monitors:
    """Whether the monitors of a unit have run since the last clear."""

    have_run: bool = True


def serve(module: Module, request: bytes, monitors: Monitors) -> Reply | None:
    """The answer; a number that it has not is not answered at all (to all modules; SAE J1979 (M))."""
    service, rest = request[0], request[1:]
    if service == 0x01:
        answer = b"".join(_parameter(module, one, monitors) for one in rest)
    elif service in (0x03, 0x07):
        bit = CONFIRMED if service == 0x03 else PENDING
        codes = [code for code, status in sorted(module.dtcs.items()) if status & bit]
        answer = bytes([len(codes)]) + b"".join(code.to_bytes(2, "big") for code in codes)
    elif service == 0x04:
        module.dtcs.clear()
        monitors.have_run = False
        return Reply(b"\x44", take_ns=180 * MS, pending_ns=(45 * MS,))
    elif service == 0x09:
        answer = _information(module, rest[0])
    else:
        return None
    return Reply(bytes([service + 0x40]) + answer) if answer else None


def _parameter(module: Module, number: int, monitors: Monitors) -> bytes:
    if number % 0x20 == 0:
        return bytes([number]) + _supported([MONITOR_STATUS, *sorted(PARAMETERS)], number)
    if number == MONITOR_STATUS:
        return bytes([number]) + _monitor_status(module, monitors)
    return bytes([number]) + bytes.fromhex(PARAMETERS[number]) if number in PARAMETERS else b""


def _monitor_status(module: Module, monitors: Monitors) -> bytes:
    """The lamp is on where a code is confirmed, and such codes are counted."""
    stored = sum(1 for status in module.dtcs.values() if status & CONFIRMED)
    readiness = ALL_RUN if monitors.have_run else NONE_RUN
    return bytes([stored | (LAMP if stored else 0)]) + bytes.fromhex(readiness)


def _information(module: Module, number: int) -> bytes:
    held = {key & 0xFF: value for key, value in module.values.stored.items()}
    if number == 0:
        return b"\x00" + _supported(sorted(held), 0)
    return bytes([number, 1]) + held[number] if number in held else b""


def built(layer: Packet) -> bytes:
    """The bytes of a request as scapy has them."""
    return bytes(OBD() / layer)


class Car(Scene):
    """Two modules and a tester that asks both at once."""

    def __init__(self, name: str, seed: int) -> None:
        super().__init__(name, seed, start=utc(2026, 11, 25, 10, 5), functional=Address(0x7DF), padding=0x00)
        self._add("ENG", 0, b"HX2-CAL-0417", {0x012D: CONFIRMED, 0x0420: PENDING}, vin=True)
        self._add("TRM", 1, b"HX2-TRM-0033", {}, vin=False)

    def _add(self, label: str, at: int, calibration: bytes, dtcs: dict[int, int], *, vin: bool) -> None:
        values = {
            0x0904: calibration.ljust(16, b"\x00"), 0x0906: crc32(calibration).to_bytes(4, "big"),
            0x090A: label.encode().ljust(20, b"\x00"),
        }  # fmt: skip
        values |= {0x0902: VIN.encode()} if vin else {}
        cyclic = (Cyclic(Address(0x0C9 + 0x30 * at), 50 * MS),)
        module = self.add(label, Address(0x7E0 + at), Address(0x7E8 + at), values, dtcs=dtcs, cyclic=cyclic)
        module.serve = partial(serve, monitors=Monitors())

    def ask_all(self, *layers: Packet) -> None:
        """Each to everybody, with time for all answers."""
        for layer in layers:
            self.tester.functional(built(layer), wait_s=0.3)

    def play(self, *, clears: bool) -> None:
        """Scan; perhaps clear and scan again."""
        self.tester.until(0.4)
        self.ask_all(OBD_S01(pid=[0]), OBD_S01(pid=[0x20]), OBD_S01(pid=[0x40]), OBD_S01(pid=[1]))
        self.ask_all(OBD_S03(), OBD_S07(), OBD_S09(iid=[0]), OBD_S09(iid=[2]), OBD_S09(iid=[4]), OBD_S09(iid=[6]))
        self.ask_all(OBD_S09(iid=[0x0A]))
        for _ in range(4):
            self.ask_all(OBD_S01(pid=[0x0C, 0x0D, 0x05]), OBD_S01(pid=[0x42]))
        self.did("read current data, faults, VIN, calibration numbers and their verification")
        if clears:
            self.ask_all(OBD_S04())
            self.ask_all(OBD_S03(), OBD_S07(), OBD_S01(pid=[1]))
            self.did("emission faults cleared and read again")
        self.run_on(1.5)


def _session(name: str, seed: int, *, clears: bool) -> tuple[Car, Callable[[], None]]:
    car = Car(name, seed)
    return car, partial(car.play, clears=clears)


SESSIONS = {
    "obd-scan": partial(_session, "obd-scan", clears=False),
    "obd-clear": partial(_session, "obd-clear", clears=True),
}
