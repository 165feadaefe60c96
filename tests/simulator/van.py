"""Van 5: a gas engine controller gets a calibration and the codes of four new injectors. All invented."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from .clock import MS
from .memory import Block, crc32, image
from .module import Cyclic, Habits
from .scene import Scene, utc
from .transport import Address

VIN = "E0VLK3PS3SM018855"
ADDRESS, SIZE = 0x00040000, 0x9600
RIGHT, WRONG, OLD = (image(f"van calibration {number}", SIZE) for number in ("2207", "2204", "2187"))
NAMES = {crc32(RIGHT): b"LK3-PV-2207", crc32(WRONG): b"LK3-PV-2204", crc32(OLD): b"LK3-PV-2187"}

ALPHABET = "123456789ABCDEFGHJKLMNPRSTUVWXY"  # 31 signs


def injector_code(*corrections: int) -> str:
    """Seven digits to base 31 of four signed bytes (0.1 mg; idle, low, mid, full), then the check sign."""
    number = int.from_bytes(bytes(one & 0xFF for one in corrections), "big")
    digits = []
    for _ in range(7):
        number, digit = divmod(number, 31)
        digits.insert(0, digit)
    digits.append(sum((at + 1) * digit for at, digit in enumerate(digits)) % 31)
    return "".join(ALPHABET[digit] for digit in digits)


OLD_CODES = (
    injector_code(-3, 5, 8, -2),
    injector_code(4, -6, 1, 3),
    injector_code(0, 2, -4, 6),
    injector_code(-7, -1, 3, 0),
)
NEW_CODES = (
    injector_code(2, -4, 6, 1),
    injector_code(-5, 3, 0, -8),
    injector_code(7, 1, -2, 4),
    injector_code(-1, 6, -9, 2),
)
TRIMS = (0x3101, 0x3102, 0x3103, 0x3104)
IN_FIRING_ORDER = (NEW_CODES[0], NEW_CODES[2], NEW_CODES[3], NEW_CODES[1])  # 1-3-4-2


class Van(Scene):
    """The van with its engine and body controllers."""

    def __init__(self, name: str, seed: int) -> None:
        super().__init__(name, seed, start=utc(2026, 11, 24, 23, 20), functional=Address(0x7DF), padding=0x55)
        self.tester.pause_ns, self.tester.block_pause_ns = (4 * MS, 30 * MS), (1 * MS, 6 * MS)
        habits = Habits(
            erase_ns={1: 1150 * MS}, erase_by_address=True, block_length=0x82, check_routine=0x0208,
            check_names_block=False, boot_ns=1200 * MS,
        )  # fmt: skip
        self.gec = self.add(
            "GEC", Address(0x7E0), Address(0x7E8),
            {
                0xF190: VIN.encode(), 0xF180: b"\x01GECBOOT-22", 0xF187: b"LK-2190-G", 0x3110: b"\x00\x07",
                **{key: code.encode() for key, code in zip(TRIMS, OLD_CODES, strict=True)},
            },
            blocks=(Block.holding("calibration", 1, ADDRESS, OLD),), dtcs={0x12D062: 0x2F}, habits=habits,
            cyclic=(Cyclic(Address(0x0F1), 10 * MS),), seeds=(0x7E2B4406,),
        )  # fmt: skip
        self.gec.carries = {
            crc: {0xF804: text, 0xF806: crc.to_bytes(4, "big")} for crc, text in NAMES.items()
        }  # fmt: skip
        self.gec.values.stored |= self.gec.carries[crc32(OLD)]
        self.add(
            "BOD", Address(0x705), Address(0x70D), {0xF190: VIN.encode()},
            cyclic=(Cyclic(Address(0x1A4), 10 * MS), Cyclic(Address(0x3C2), 100 * MS)),
        )  # fmt: skip

    def look_round(self) -> None:
        t = self.tester
        t.until(0.05)
        t.keep_alive()
        t.read("BOD", 0xF190)
        t.read("GEC", 0xF190, 0xF187)
        t.ask("GEC", b"\x09\x04")
        t.ask("GEC", b"\x09\x06")
        t.read("GEC", *TRIMS)
        self.did("read VIN of BOD and GEC, calibration and old injector codes of GEC")

    def program(self, data: bytes) -> None:
        t = self.tester
        t.until(4.0)
        t.session("GEC", 2)
        t.unlock("GEC")
        t.program("GEC", 1, data)
        t.reset("GEC")
        t.rest(2.0)
        self.did(f"programmed calibration {NAMES[crc32(data)].decode()}, checked, reset")
        t.ask("GEC", b"\x09\x04")
        t.ask("GEC", b"\x09\x06")

    def write_codes(self, codes: tuple[str, ...]) -> None:
        t = self.tester
        t.session("GEC", 3)
        t.unlock("GEC")
        for identifier, code in zip(TRIMS, codes, strict=True):
            t.write("GEC", identifier, code.encode())
        t.rest(1.0)
        t.reset("GEC")
        t.rest(2.0)
        t.read("GEC", *TRIMS)
        self.did("wrote injector codes " + " ".join(codes) + ", reset, read them back")

    def finish(self) -> None:
        t = self.tester
        t.clear_everybody()
        for label in self.modules:
            t.read_faults(label)
        t.keep_alive(False)
        self.did("faults cleared and read again")
        self.run_on(2.0)


def _session(name: str, seed: int, *, data: bytes, codes: tuple[str, ...]) -> tuple[Van, Callable[[], None]]:
    van = Van(name, seed)

    def script() -> None:
        van.look_round()
        van.program(data)
        van.write_codes(codes)
        van.finish()

    return van, script


SESSIONS = {
    "van-wrong-calibration": partial(_session, "van-wrong-calibration", data=WRONG, codes=NEW_CODES),
    "van-trims-firing-order": partial(_session, "van-trims-firing-order", data=RIGHT, codes=IN_FIRING_ORDER),
}
