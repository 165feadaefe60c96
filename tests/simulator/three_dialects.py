"""One channel with three modules, each of another dialect, and two testers at work at the same time.

One tester programs the pump control unit (UDS) and then the seat heater unit (KWP2000); the other programs the lift
gate unit (GMW3110) meanwhile, act by act between the requests of the first.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from .bench import VIN, WHOLE_JOB, Bench, Plan
from .older_bench import GMW_JOB, KWP_JOB, Kwp, Lift, OlderPlan


class ThreeDialects(Bench):
    """The bench of the pump, with two more benches on its bus."""

    def __init__(self, name: str, seed: int) -> None:
        super().__init__(Plan(name=name, application_size=0x240, calibration_size=0x140, acts=WHOLE_JOB), seed)
        self.heater = Kwp(name, OlderPlan(KWP_JOB), seed, bus=self.bus)
        self.lift = Lift(name, OlderPlan(GMW_JOB), seed, bus=self.bus)
        for other in (self.heater, self.lift):
            self.modules |= other.modules
            other.done, other.vin = self.done, VIN  # one vehicle
        for number, act in enumerate(self.lift.plan.acts):
            self.tester.errand(1.5 + 0.45 * number, partial(self.lift.act, act))

    def play(self) -> None:
        """The pump with the lift in between, then the seat heater."""
        super().play()
        self.lift.tester.keep_alive(False)
        self.heater.play()


def _session(name: str, seed: int) -> tuple[ThreeDialects, Callable[[], None]]:
    scene = ThreeDialects(name, seed)
    return scene, scene.play


SESSIONS = {"mixed-three-dialects": partial(_session, "mixed-three-dialects")}
