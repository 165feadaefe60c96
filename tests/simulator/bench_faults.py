"""What can go wrong on the bench, by name; a plan may hold several."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from .bus import Record
from .clock import MS, S
from .faults import Answer, LoseAnswer, LosePower, Mute, Refuse, Stall
from .framebits import frame_bits
from .module import Cyclic
from .tester import RecordingEnds
from .transport import Address

if TYPE_CHECKING:
    from .bench import Bench

ERASE = bytes.fromhex("3101FF00")
CHECK = bytes.fromhex("31010266")
THIRD_BLOCK = bytes.fromhex("3603")
#: A frame that nobody acknowledges is sent so often; flag and delimiter of an error, and the pause behind it.
UNHEARD, ERROR_BITS, BIT_NS = 200, 6 + 8 + 3, 2000


def _inside_third_block(bench: Bench, act: Callable[[], None]) -> None:
    """Do ``act`` after the first frame and 3 consecutive frames of the first block with counter 03."""
    length = len(bench.pump.endpoint.sends_on.head)

    def watch(record: Record) -> None:
        content = record.frame.data[length:]
        to_pump = record.frame.can_id == bench.pump.endpoint.hears_on.can_id
        if to_pump and content[0] >> 4 == 1 and content[2:4] == THIRD_BLOCK:
            bench.bus.watchers.remove(watch)
            bench.tester.endpoint("PCU").after_frames = (3, act)

    bench.bus.watchers.append(watch)


def _refuse(bench: Bench, prefix: bytes, code: int, **more: int) -> None:
    bench.pump.faults.append(Refuse(prefix, code=code, **more))


def _recording_ends(bench: Bench) -> None:
    bench.captured.ends_inside = "download, block 03"
    bench.after_break = lambda: None

    def stop() -> None:
        raise RecordingEnds

    _inside_third_block(bench, stop)


def _tester_silent(bench: Bench) -> None:
    bench.captured.ends_inside = "download, block 03"
    bench.after_break = lambda: bench.run_on(12.0)
    _inside_third_block(bench, lambda: setattr(bench.tester, "silent", True))


def _module_silent(bench: Bench) -> None:
    _inside_third_block(bench, lambda: setattr(bench.pump, "mute", True))
    _asks_in_vain(bench)


def _line_cut(bench: Bench) -> None:
    """Nobody hears the tester any more: its controller sends the frame again at once, without end (ISO 11898-1)."""
    bench.captured.ends_inside = "download, block 03"
    bench.after_break = lambda: None
    head = len(bench.pump.endpoint.sends_on.head)

    def repeat() -> None:
        before = bench.bus.records[-1].frame
        number = 0x20 | before.data[head] + 1 & 0xF
        again = before._replace(data=before.data[:head] + bytes([number]) + before.data[head + 1 :])
        bits = frame_bits(*again) + ERROR_BITS
        first_ns = bench.clock.now_ns
        bench.bus.records += [Record(first_ns + n * bits * BIT_NS, again) for n in range(1, UNHEARD + 1)]
        raise RecordingEnds

    _inside_third_block(bench, repeat)


def _branch_silent(bench: Bench) -> None:
    """Both units stand behind a gateway, which goes on by itself and passes nothing more."""
    gateway = bench.add("VGU", Address(0x7A0), Address(0x7A8), {}, cyclic=(Cyclic(Address(0x0A4), 50 * MS),))

    def cut() -> None:
        for module in bench.modules.values():
            module.mute = module is not gateway

    _inside_third_block(bench, cut)
    _asks_in_vain(bench)


def _tester_alone(bench: Bench) -> None:
    """Everybody else is gone at once, and only the tester goes on."""

    def cut() -> None:
        for module in bench.modules.values():
            module.mute = True

    _inside_third_block(bench, cut)
    _asks_in_vain(bench)


def _asks_in_vain(bench: Bench) -> None:
    """Whoever gets no answer asks three times more, and the other module once."""

    def give_up(what: str, answer: bytes | None) -> None:
        bench.did(f"{what}: {'no answer' if answer is None else answer.hex(' ')}")
        for _ in range(3):
            bench.tester.present("PCU")
        bench.tester.read("PMU", 0xF190)
        bench.tester.keep_alive(False)
        bench.run_on(3.0)
        raise RecordingEnds

    bench.after_break = lambda: None
    bench._give_up = give_up  # type: ignore[method-assign]


def _no_return(bench: Bench) -> None:
    bench.pump.at_restart_into_application.append(lambda module: setattr(module, "mute", True))

    def ask() -> None:
        for _ in range(5):
            bench.tester.present("PCU")
            bench.tester.session("PCU", 1)
            bench.tester.read("PCU", 0xF188)
            bench.tester.rest(1.0)
        bench.tester.read("PMU", 0xF190)
        bench.tester.keep_alive(False)
        bench.run_on(2.0)
        raise RecordingEnds

    bench.after_break = lambda: None
    bench.after_reset = ask  # type: ignore[method-assign]


def _stays_in_loader(bench: Bench) -> None:
    bench.pump.refuses_application = True

    def look() -> None:
        t = bench.tester
        t.read("PCU", 0xF188, 0xF180, 0xF186)
        t.session("PCU", 3)
        t.keep_alive(False)
        bench.run_on(3.0)
        raise RecordingEnds

    bench.after_break = lambda: None
    bench.after_reset = look  # type: ignore[method-assign]


def _first_attempt_fails(bench: Bench) -> None:
    bench.gives_up = False
    _refuse(bench, THIRD_BLOCK, 0x72)


def _block_answer_lost(bench: Bench) -> None:
    bench.repeats = 1
    bench.pump.faults.append(LoseAnswer(bytes.fromhex("3604")))


def _dtc_returns(bench: Bench) -> None:
    """The fault that was cleared comes back 1.5 s later."""

    def watch(record: Record) -> None:
        head = len(bench.pump.endpoint.sends_on.head)
        if (
            record.frame.can_id == bench.pump.endpoint.sends_on.can_id
            and record.frame.data[head : head + 2] == b"\x01\x54"
        ):
            bench.clock.after(1500 * MS, lambda: bench.pump.dtcs.update({0x1B2354: 0x2F}))

    bench.bus.watchers.append(watch)


def _wrong_key(bench: Bench) -> None:
    bench.key_constant = 0x4B1D0C36
    bench.unlock_tries = 2
    bench.pump.faults.append(Refuse(bytes.fromhex("2712"), skip=1, code=0x36))


def _spoil(bench: Bench, identifier: int, value: bytes) -> None:
    bench.pump.values.spoils[identifier] = value


def _lose(bench: Bench, identifier: int) -> None:
    bench.pump.values.loses.add(identifier)
    bench.captured.hidden.append(f"PCU does not store {identifier:04X}")


def _doubled(bench: Bench) -> None:
    bench.logger.doubles = True


def _add(bench: Bench, make: Callable[[], object]) -> None:
    bench.pump.faults.append(make())  # type: ignore[arg-type]


#: Every fault by name. A fault changes the bench before the session begins.
FAULTS: dict[str, Callable[[Bench], None]] = {
    # erase
    "erase-refused": partial(_refuse, prefix=ERASE, code=0x72),
    "erase-conditions": partial(_refuse, prefix=ERASE, code=0x22),
    "erase-stalls": partial(_add, make=lambda: Stall(ERASE, pending_ns=(40 * MS, 1600 * MS, 3200 * MS))),
    "erase-answer-lost": partial(_add, make=lambda: LoseAnswer(ERASE)),
    "power-lost-in-erase": partial(_add, make=lambda: LosePower(ERASE)),
    # download
    "download-refused": partial(_refuse, prefix=b"\x34", code=0x70),
    "transfer-refused": partial(_refuse, prefix=THIRD_BLOCK, code=0x72),
    "transfer-stalls": partial(_add, make=lambda: Stall(THIRD_BLOCK)),
    "block-answer-lost": _block_answer_lost,
    "power-lost-in-transfer": partial(_add, make=lambda: LosePower(THIRD_BLOCK)),
    "power-returns-in-transfer": partial(_add, make=lambda: LosePower(THIRD_BLOCK, away_ns=3 * S)),
    "exit-refused": partial(_refuse, prefix=b"\x37", code=0x72),
    "exit-unanswered": partial(_add, make=lambda: LoseAnswer(b"\x37")),
    "recording-ends": _recording_ends,
    "tester-silent": _tester_silent,
    "module-silent": _module_silent,
    "branch-silent": _branch_silent,
    "tester-alone": _tester_alone,
    "line-cut": _line_cut,
    "first-attempt-fails": _first_attempt_fails,
    # proof
    "check-bad": partial(_add, make=lambda: Answer(CHECK, ending=b"\x05", undo_valid=1)),
    "check-refused": partial(_refuse, prefix=CHECK, code=0x72),
    "check-unanswered": partial(_add, make=lambda: LoseAnswer(CHECK)),
    "parts-differ": partial(_add, make=lambda: Answer(bytes.fromhex("3101FF01"), ending=b"\x02")),
    "parts-not-checked": lambda bench: _set(bench, check_parts=False, trusts=True),
    "no-return": _no_return,
    "stays-in-loader": _stays_in_loader,
    # writes
    "write-refused": partial(_refuse, prefix=bytes.fromhex("2E3A03"), code=0x22),
    "vin-refused": partial(_refuse, prefix=bytes.fromhex("2EF190"), code=0x31),
    "write-unanswered": partial(_add, make=lambda: Mute(bytes.fromhex("2E3A03"))),
    "write-stalls": partial(_add, make=lambda: Stall(bytes.fromhex("2E3A03"))),
    "stores-other-value": partial(_spoil, identifier=0x3A02, value=bytes.fromhex("02265A0404A2FFFF0000")),
    "stores-nothing": partial(_lose, identifier=0x3A03),
    "vin-not-stored": partial(_lose, identifier=0xF190),
    # access, faults, learning
    "wrong-key": _wrong_key,
    "programming-session-refused": partial(_refuse, prefix=bytes.fromhex("1002"), code=0x22),
    "clear-refused": partial(_refuse, prefix=b"\x14", code=0x22),
    "dtc-returns": _dtc_returns,
    "learn-stops": partial(_add, make=lambda: Answer(bytes.fromhex("31030270"), skip=1, times=9, ending=b"\x08")),
    "learn-refused": partial(_refuse, prefix=bytes.fromhex("31010270"), code=0x22),
    # logger
    "doubled": _doubled,
}


def _set(bench: Bench, *, check_parts: bool, trusts: bool) -> None:
    """No check is asked for; such a module trusts the transfer exit."""
    bench.check_parts = check_parts
    bench.pump.habits.trusts_exit = trusts
