"""The sessions of coach 17, each a list of stages with what goes wrong in it."""

from __future__ import annotations

from collections.abc import Callable

from .coach import Coach


def whole_job(coach: Coach) -> None:
    coach.look_round()
    coach.read_keeper()
    coach.read_supply("DUC", at=9.0)
    coach.plan_supply(20.0, 40.0, 60.0)
    coach.quiet()
    coach.enter_loader()
    coach.load_driver()
    coach.load_application()
    coach.load_calibration()
    coach.fit_together()
    coach.restart(32.0)
    coach.make_it_this_coach(35.0)
    coach.restart(42.0, default_after=True)
    coach.read_back(46.0)
    coach.learn()
    coach.finish(66.0)


def _all_good(seed: int) -> tuple[Coach, Callable[[], None]]:
    coach = Coach("coach-all-good", seed)
    return coach, lambda: whole_job(coach)


SESSIONS = {"coach-all-good": _all_good}
