"""Every kind of outcome that the simulator can play, in one table: ``outcomes.csv``.

A row says how a session differs from the whole job (``acts`` left out with a minus, ``faults``), what the module really
holds when it is over, and the word of each part by the rules of ``fixtures/README.md`` (names given, no sheet). All
that does not change an outcome is drawn by chance from the seed: addressing, filling, sizes, pace, background.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from random import Random

from simulator.bench import PRIME_VOLUME, TRIMS, VIN, WHOLE_JOB, Bench, pump_trim, random_plan
from simulator.memory import Block
from simulator.module import Module
from simulator.older_bench import GMW_JOB, KWP_JOB, Kwp, Lift, OlderBench, OlderPlan, gmw_images
from simulator.older_bench import VIN as OLDER_VIN
from simulator.older_bench import trim as older_trim
from simulator.sessions import play
from simulator.tester import RecordingEnds

from analysis.operations.model import Part
from analysis.report.model import Report

from .sessions import addressed, against_truth
from .trial import Setting, check_schema, report_of_text

TABLE = Path(__file__).with_name("outcomes.csv")
JOBS = {"uds": WHOLE_JOB, "kwp": KWP_JOB, "gmw": GMW_JOB}
#: Columns: what the module holds, and the word of each part.
HELD = ("state", "application", "calibration", "trims", "vin", "codes", "learned")
WORDS = ("programming", "trims_word", "vin_word", "fault_memory", "learn")
PARTS = dict(zip(WORDS, Part, strict=True))
#: A fault may wait for the fourth block.
BLOCKS_AT_LEAST = 4


@dataclass(frozen=True)
class Kind:
    """One row."""

    name: str
    dialect: str  # uds, kwp, gmw
    acts: tuple[str, ...]
    faults: tuple[str, ...]
    held: dict[str, str]
    words: dict[str, str]

    def play(self, seed: int) -> tuple[Bench | OlderBench, Setting]:
        """The scene after a session of this kind, and its setting."""
        rnd = Random(f"{self.name} {seed}")
        if self.dialect == "uds":
            plan = random_plan(rnd, faults=self.faults, acts=self.acts)
            plan = replace(plan, application_size=max(plan.application_size, BLOCKS_AT_LEAST * plan.block_length))
            scene = play(plan, seed)
            assert isinstance(scene, Bench)
            return scene, Setting(plan, names=True)
        world = {"kwp": Kwp, "gmw": Lift}[self.dialect]
        older = OlderPlan(self.acts, self.faults, counted=rnd.random() < 0.5, check="check" in self.acts)
        older = replace(older, acts=tuple(act for act in self.acts if act != "check"))
        bench = world(self.name, older, seed)
        with suppress(RecordingEnds):
            bench.play()
        return bench, Setting(f"{self.dialect}-{self.name}", names=True)


@cache
def kinds() -> tuple[Kind, ...]:
    """All rows of the table."""
    with TABLE.open(newline="") as file:
        return tuple(_kind(row) for row in csv.DictReader(file))


def _kind(row: dict[str, str]) -> Kind:
    job = JOBS[row["dialect"]]
    changes = row["acts"].split()
    if changes[:1] == ["only"]:
        acts = tuple(changes[1:])
    else:
        acts = tuple(act for act in job if f"-{act}" not in changes)
        acts += tuple(one[1:] for one in changes if one.startswith("+"))
    held, words = ({name: row[name] for name in names} for names in (HELD, WORDS))
    return Kind(row["kind"], row["dialect"], acts, tuple(row["faults"].split()), held, words)


def held(scene: Bench | OlderBench) -> dict[str, str]:
    """What the module really holds, in the words of the table."""
    if isinstance(scene, Bench):
        unit, images, vin = scene.pump, scene.images, (0xF190, VIN)
        trims = {one: pump_trim(one & 0xF) for one in TRIMS}
        learned = unit.values.stored[PRIME_VOLUME] != b"\xff\xff" or PRIME_VOLUME in unit.values.waiting
    else:
        unit, vin, learned = scene.unit, (OLDER_VIN, scene.vin), False
        images = scene.images if isinstance(scene, Kwp) else gmw_images()
        trims = {one: older_trim(number) for number, one in enumerate(scene.trims, start=1)}
    application, calibration = (_memory(block, images[block.number]) for block in unit.blocks if not block.in_ram)
    return {
        "state": unit.state, "application": application, "calibration": calibration,
        "trims": _values(unit, trims), "vin": _values(unit, {vin[0]: vin[1].encode()}),
        "codes": "some" if unit.dtcs else "none", "learned": "yes" if learned else "no",
    }  # fmt: skip


def _memory(block: Block, new: bytes) -> str:
    """``new``, ``old``; ``bad``: all the bytes, not valid; ``part`` of them; ``erased``."""
    if bytes(block.content) == new:
        return "new" if block.valid else "bad"
    if block.valid:
        return "old"
    return "part" if block.received else "erased"


def _values(unit: Module, new: dict[int, bytes]) -> str:
    """``new``, ``old``, ``some`` of them; ``waiting``: new, and gone if the power goes now."""
    held = [unit.values.stored[one] == value for one, value in new.items()]
    if all(held):
        return "new"
    if any(held):
        return "some"
    return "waiting" if all(unit.values.read(one) == value for one, value in new.items()) else "old"


@dataclass(frozen=True)
class Result:
    """What is wrong with the report on a session of a kind."""

    kind: str
    wrong: list[str]


def play_kind(kind: Kind, seed: int, place: Path) -> Result:
    """Play it, judge it, compare."""
    scene, setting = kind.play(seed)
    if isinstance(scene, Bench):
        setting = replace(setting, folder=addressed(scene.plan.addressing, place.parent))
    report = report_of_text("\n".join(scene.lines()) + "\n", setting, place)
    return Result(kind.name, [*_against_table(kind, scene, report), *_in_itself(report)])


def _against_table(kind: Kind, scene: Bench | OlderBench, report: Report) -> Iterator[str]:
    held_now = held(scene)
    yield from (
        f"holds {name} {held_now[name]}, not {kind.held[name]}" for name in HELD if held_now[name] != kind.held[name]
    )
    for name, part in PARTS.items():
        said = report.verdict.parts[part]
        if said.word != kind.words[name]:
            yield f"{part} {said.word}, not {kind.words[name]}: {said.because}"
    if isinstance(scene, Bench):
        yield from against_truth(report, scene, scene.plan)


def _in_itself(report: Report) -> Iterator[str]:
    yield from (f"{one.rule}: {one.word}" for one in check_schema(report))
    yield from (one.title for one in report.findings if one.title.endswith("is broken"))
