"""The sessions of coach 17, each a list of stages with what goes wrong in it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import partial

from . import coach as world
from .bus import Bus, Record
from .clock import MS, S
from .coach import Coach
from .faults import Refuse
from .scene import utc
from .tester import RecordingEnds
from .transport import Address, Endpoint

Session = tuple[Coach, Callable[[], None]]


# -- the whole job


def _before_programming(coach: Coach) -> None:
    coach.look_round()
    coach.read_keeper()
    coach.read_supply(9.0)
    coach.plan_supply(20.0, 40.0, 60.0)


def _programming(coach: Coach, fingerprint: bytes = world.FINGERPRINT) -> None:
    coach.quiet()
    coach.enter_loader(fingerprint)
    coach.load_driver()
    coach.load_application()
    coach.load_calibration()
    coach.fit_together()
    coach.restart(32.0)


def whole_job(
    coach: Coach, *, vin: str = world.VIN, trims: dict[int, bytes] | None = None, read_trims: bool = True,
    restore: bool = True,
) -> None:  # fmt: skip
    """Everything from the first reading to the cleared fault memory."""
    _before_programming(coach)
    _programming(coach)
    _after_programming(coach, vin=vin, trims=trims, read_trims=read_trims, restore=restore)


def _after_programming(
    coach: Coach, *, vin: str = world.VIN, trims: dict[int, bytes] | None = None, read_trims: bool = True,
    restore: bool = True,
) -> None:  # fmt: skip
    coach.make_it_this_coach(35.0, vin=vin, trims=trims)
    coach.restart(42.0, default_after=True)
    coach.read_back(46.0, trims=read_trims)
    coach.learn()
    coach.finish(66.0, restore=restore)


def _all_good(name: str, seed: int) -> Session:
    coach = Coach(name, seed)
    return coach, partial(whole_job, coach)


# -- readings only


def _before_removal(name: str, seed: int, *, dead: bool = False) -> Session:
    coach = Coach(name, seed, start=utc(2026, 11, 24, 20, 30), unit="dead" if dead else "old")

    def script() -> None:
        t = coach.tester
        t.until(0.05)
        for label in ("VGW", "BRC", "TIV"):
            t.read(label, 0xF190)
        if dead:
            for _ in range(2):
                t.present("DUC")
            t.read("DUC", 0xF190, 0xF188)
        else:
            t.read("DUC", 0xF190, *world.IDENTITY, 0xF1A3, *world.TRIMS, 0x4B01, 0x4C20, 0x4D05)
        t.read("VBM", 0xF190, *world.TRIMS)
        for label in coach.modules:
            t.read_faults(label)
        coach.did("read identity, trims, configuration and faults" + ("; DUC is dead" if dead else ""))
        coach.run_on(2.0)

    return coach, script


def _next_day(name: str, seed: int) -> Session:
    coach = Coach(name, seed, start=utc(2026, 11, 25, 7, 10), unit="bricked")

    def script() -> None:
        t = coach.tester
        t.until(3.0)
        t.read_faults("TIV", 0x09)
        t.read("DUC", 0xF190, 0xF188, 0xF180, 0xF186)
        t.session("DUC", 3)
        t.session("DUC", 2)
        coach.tester.until(6.0)
        t.read("VBM", 0xF190, *world.TRIMS)
        coach.did("found DUC in its boot loader, read the keeper")
        coach.run_on(3.0)

    return coach, script


# -- the whole job with something wrong in it


def _trims_not_read_back(name: str, seed: int, *, loses: set[int]) -> Session:
    coach = Coach(name, seed)
    coach.duc.values.loses = loses
    if loses:
        coach.captured.hidden.append("DUC did not store " + ", ".join(f"{one:04X}" for one in sorted(loses)))
    return coach, partial(whole_job, coach, read_trims=False)


def _vin_swapped(name: str, seed: int) -> Session:
    coach = Coach(name, seed)
    return coach, partial(whole_job, coach, vin=world.VIN[:-2] + world.VIN[-1] + world.VIN[-2])


def _trims_exchanged(name: str, seed: int) -> Session:
    coach = Coach(name, seed)
    exchanged = world.TRIMS | {0x4A12: world.TRIMS[0x4A13], 0x4A13: world.TRIMS[0x4A12]}
    return coach, partial(whole_job, coach, trims=exchanged)


def _foreign_keeper(name: str, seed: int) -> Session:
    coach = Coach(name, seed, keeper_vin=world.KEEPER_FOREIGN_VIN)
    return coach, partial(whole_job, coach)


def _quiet_not_restored(name: str, seed: int) -> Session:
    coach = Coach(name, seed)
    return coach, partial(whole_job, coach, restore=False)


def _reflash(name: str, seed: int) -> Session:
    coach = Coach(name, seed, start=utc(2026, 11, 25, 7, 40), unit="bricked")

    def script() -> None:
        t = coach.tester
        t.until(3.0)
        t.keep_alive()
        t.read("TIV", 0xF190)
        t.read("DUC", 0xF188, 0xF180)
        coach.read_keeper()
        coach.read_supply(9.0)
        coach.plan_supply(20.0, 40.0, 60.0)
        _programming(coach, world.NEXT_DAY_FINGERPRINT)
        _after_programming(coach)

    return coach, script


def _frame_missing(name: str, seed: int) -> Session:
    coach = Coach(name, seed)
    block = 0
    number = 0

    def is_the_one(record: Record) -> bool:
        """Consecutive frame 40 of block 0C of the application: 36 0C after 34 to 00020000."""
        nonlocal block, number
        frame = record.frame
        if frame.can_id != 0x18DA2AF1:
            return False
        if frame.data[2] == 0x36 and frame.data[0] >> 4 == 1:
            block, number = frame.data[3], 0
        elif frame.data[0] >> 4 == 2:
            number += 1
        return block == 0x0C and number == 40

    coach.logger.loses = is_the_one
    coach.captured.hidden.append("one consecutive frame of block 0C was on the bus but not logged")
    return coach, partial(whole_job, coach)


class Telematics:
    """A unit that also asks, with source address F9, and cares for nobody."""

    can_send = True

    def __init__(self, coach: Coach, seconds: tuple[float, ...]) -> None:
        bus: Bus = coach.bus
        ask, answer = Address(0x18DA2AF9, True), Address(0x18DAF92A, True)
        coach.duc.open_link(ask, answer, hears_functional=False)
        endpoint = Endpoint(
            bus, coach.rng, self, send=ask, hear=answer, padding=0xAA, message=lambda _: None
        )  # fmt: skip
        for second in seconds:
            for offset, request in ((0.0, "22F190"), (0.4, "22F188")):
                bus.clock.at(round((second + offset) * S), partial(endpoint.send, bytes.fromhex(request)))


def _two_testers(name: str, seed: int) -> Session:
    coach = Coach(name, seed)
    Telematics(coach, (4.0, 37.3, 54.0))
    coach.did("a telematics unit (F9) asked DUC for VIN and software number as well")
    return coach, partial(whole_job, coach)


# -- sessions that do not get to the end


def _erase_low_voltage(name: str, seed: int) -> Session:
    coach = Coach(name, seed, volts=((0.0, 24.6), (12.0, 23.8), (14.0, 20.9)))
    erase = bytes.fromhex("3101FF0002")
    coach.duc.faults = [
        Refuse(erase, code=0x72, pending_ns=(40 * MS, 1600 * MS, 3200 * MS), take_ns=4100 * MS,
               erases=world.APPLICATION),
        Refuse(erase, skip=1, code=0x93),
    ]  # fmt: skip

    def script() -> None:
        t = coach.tester
        coach.look_round()
        coach.read_keeper()
        coach.read_supply(9.0)
        coach.plan_supply(12.8, label="TIV")
        coach.quiet()
        coach.enter_loader()
        coach.load_driver()
        coach.load_application()
        t.read("DUC", 0xF442, 0xF181, 0xF180)
        t.until(24.0)
        block = coach.duc.block(world.APPLICATION)
        assert block is not None
        t.erase("DUC", block)
        coach.did("second erase refused: voltage too low")
        t.until(31.0)

    return coach, script


def _inside_block_11(name: str, seed: int, breaks: Callable[[Coach], None], afterwards: Callable[[Coach], None],
                     ) -> Session:  # fmt: skip
    """Something happens after the first frame and 60 of the 146 consecutive frames of block 0B."""
    coach = Coach(name, seed)
    coach.captured.ends_inside = "download of the application, block 0B"

    def before_block(number: int) -> None:
        if number == 11:
            coach.tester.endpoint("DUC").after_frames = (61, partial(breaks, coach))

    coach.before_block = before_block  # type: ignore[method-assign]

    def script() -> None:
        with suppress(RecordingEnds):
            whole_job_until_break()
        afterwards(coach)

    def whole_job_until_break() -> None:
        _before_programming(coach)
        coach.quiet()
        coach.enter_loader()
        coach.load_driver()
        coach.load_application()

    return coach, script


def _stop(coach: Coach) -> None:
    coach.did("recording stops in the middle of block 0B of the application")
    coach.stop()


def _tester_falls_silent(coach: Coach) -> None:
    coach.did("tester falls silent in the middle of block 0B of the application")
    coach.tester.silent = True


def _module_falls_silent(coach: Coach) -> None:
    coach.did("DUC falls silent in the middle of block 0B of the application")
    coach.duc.mute = True


def _ask_in_vain(coach: Coach) -> None:
    for _ in range(3):
        coach.tester.present("DUC")
        coach.tester.read("TIV", 0xF442)
    coach.run_on(4.0)


SESSIONS: dict[str, Callable[[int], Session]] = {
    name: partial(make, name)
    for name, make in {
        "coach-before-removal": _before_removal,
        "coach-before-removal-dead": partial(_before_removal, dead=True),
        "coach-all-good": _all_good,
        "coach-trims-not-read-back-stored": partial(_trims_not_read_back, loses=set()),
        "coach-trims-not-read-back-lost": partial(_trims_not_read_back, loses={0x4A13}),
        "coach-erase-low-voltage": _erase_low_voltage,
        "coach-ends-mid-transfer": partial(_inside_block_11, breaks=_stop, afterwards=lambda _: None),
        "coach-tester-silent": partial(
            _inside_block_11, breaks=_tester_falls_silent, afterwards=lambda coach: coach.run_on(12.0)
        ),
        "coach-module-silent": partial(_inside_block_11, breaks=_module_falls_silent, afterwards=_ask_in_vain),
        "coach-next-day": _next_day,
        "coach-reflash": _reflash,
        "coach-vin-swapped": _vin_swapped,
        "coach-trims-exchanged": _trims_exchanged,
        "coach-foreign-keeper": _foreign_keeper,
        "coach-two-testers": _two_testers,
        "coach-quiet-not-restored": _quiet_not_restored,
        "coach-frame-missing-in-log": _frame_missing,
    }.items()
}
