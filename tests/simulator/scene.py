"""A vehicle put together: clock, bus, modules, tester; and what is left when the recording is over."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from random import Random

from .bus import Bus
from .clock import Clock, S
from .logger import Logger
from .memory import Block
from .module import Cyclic, Habits, Module
from .tester import RecordingEnds, Tester
from .transport import Address, FlowControl


@dataclass
class Captured:
    """What of the job the recording shows."""

    begins_inside: str = ""
    ends_inside: str = ""
    hidden: list[str] = field(default_factory=list)  # what happened and is not in it


class Scene:
    """Everything one session needs; scenarios fill it and play it."""

    def __init__(
        self, name: str, seed: int, *, start: datetime, functional: Address, padding: int | None,
        speaks: type[Tester] = Tester, bus: Bus | None = None,
    ) -> None:  # fmt: skip
        self.name, self.rng = name, Random(f"{seed}")
        self.bus = bus or Bus(Clock())
        self.clock = self.bus.clock
        self.functional, self.padding = functional, padding
        self.tester = speaks(self.bus, Random(f"tester {seed}"), functional=functional, padding=padding)
        self.logger = Logger(int(start.timestamp()) * S)
        self.modules: dict[str, Module] = {}
        self.done: list[str] = []
        self.captured = Captured()
        self._seed = seed

    def add(
        self, label: str, request: Address, response: Address, values: dict[int, bytes], *,
        blocks: tuple[Block, ...] = (), dtcs: dict[int, int] | None = None, cyclic: tuple[Cyclic, ...] = (),
        habits: Habits | None = None, seeds: tuple[int, ...] = (), flow: FlowControl | None = None,
    ) -> Module:  # fmt: skip
        """A module, known to the tester."""
        module = Module(
            self.bus, Random(f"{label} {self._seed}"), label, request=request, response=response,
            functional=self.functional, padding=self.padding, values=values, blocks=blocks, dtcs=dtcs, cyclic=cyclic,
            habits=habits, seeds=seeds, flow=flow,
        )  # fmt: skip
        self.modules[label] = module
        self.tester.meet(module, request=request, response=response)
        return module

    def did(self, what: str) -> None:
        """Write down what was really done."""
        self.done.append(what)

    def run_on(self, seconds: float) -> None:
        """Let the bus go on with nobody asking."""
        self.clock.run_until(self.clock.now_ns + round(seconds * S))

    def stop(self) -> None:
        """End the script.

        Raises:
            RecordingEnds: always.
        """
        raise RecordingEnds

    def lines(self) -> list[str]:
        """The recording."""
        return self.logger.lines(self.bus.records)

    def truth(self) -> dict[str, object]:
        """What was done, what every module really holds now, and what the recording shows of it."""
        return {
            "scenario": self.name,
            "what_was_done": self.done,
            "modules": {label: module.truth() for label, module in self.modules.items()},
            "captured": {
                "begins_inside": self.captured.begins_inside,
                "ends_inside": self.captured.ends_inside,
                "hidden": self.captured.hidden,
                "frames": len(self.bus.records),
            },
        }


def utc(*when: int) -> datetime:
    """Year, month, day, hour, minute in UTC."""
    return datetime(*when, tzinfo=UTC)
