"""Random sessions of the bench, with what goes wrong in them, against what the module holds at the end.

What a capture does not show stays open: a write that was never read back, a part that was never checked may be
right or wrong, and ``unproven`` is then the right word for both.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

from simulator.bench import ADDRESSINGS, PRIME_VOLUME, WHOLE_JOB, Bench, Plan, random_plan
from simulator.bench_faults import FAULTS
from simulator.sessions import play

from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, Part
from analysis.report.model import Report
from analysis.words import Word

from .trial import FIXTURES, Setting, check_schema, report_of_text

#: Acts that a job may leave out without becoming senseless.
OPTIONAL = ("look", "read-keeper", "fit", "restart", "read-identity", "read-trims", "read-vin", "clear", "read-faults")
#: The module did not come back from its restart as it should.
LOST_AFTER_RESTART = {"no-return", "stays-in-loader"}
BROKEN_OFF = (Word.FAILED, Word.INTERRUPTED)


@dataclass(frozen=True)
class Result:
    """What went wrong in the session, and in its report."""

    faults: tuple[str, ...]
    wrong: list[str]


def random_session(seed: int) -> Plan:
    """Acts, faults and addressing by chance."""
    rnd = Random(f"session {seed}")
    faults = tuple(rnd.sample(sorted(FAULTS), rnd.choice((0, 1, 1, 1, 2))))
    left_out = set(rnd.sample(OPTIONAL, rnd.choice((0, 0, 1, 2, 4))))
    more = rnd.choice(((), ("learn",), ("wait", "read-faults"), ("restart", "read-trims", "read-vin")))
    acts = tuple(act for act in WHOLE_JOB if act not in left_out) + more
    if rnd.random() < 0.3:
        acts = ("read-faults", *acts)
    return replace(random_plan(rnd, faults=faults, acts=acts), tail_s=rnd.choice((0.1, 2.0)))


def play_random(seed: int, place: Path) -> Result:
    """Play it, judge it, compare."""
    plan = random_session(seed)
    scene = play(plan, seed)
    assert isinstance(scene, Bench)
    setting = Setting(plan, names=seed % 2 == 0, sheet=seed % 4 == 0, folder=addressed(plan.addressing, place.parent))
    report = report_of_text("\n".join(scene.lines()) + "\n", setting, place)
    wrong = [*against_truth(report, scene, plan), *(f"{one.rule}: {one.word}" for one in check_schema(report))]
    wrong += [one.title for one in report.findings if one.title.endswith("is broken")]
    return Result(plan.faults, wrong)


def addressed(addressing: str, folder: Path) -> Path:
    """A folder with the bench's names and sheet for another addressing: only the ids of the links differ."""
    target = folder / f"bench-{addressing}"
    if target.exists():
        return target
    addresses = ADDRESSINGS[addressing]
    draft = folder / f"{target.name}-{os.getpid()}"
    draft.mkdir()
    for name in ("uds11.toml", "uds11_names.toml"):
        text = (FIXTURES / name).read_text()
        for old, side in (("7E0:7E8", addresses.pump), ("7E1:7E9", addresses.keeper)):
            text = text.replace(f'"{old}"', f'"{side.request.text()}:{side.response.text()}"')
        (draft / name).write_text(text)
    with suppress(OSError):  # another process was first
        draft.rename(target)
    return target


def against_truth(report: Report, scene: Bench, plan: Plan) -> Iterator[str]:
    """Words that what the module holds contradicts."""
    for one in standing(report.operations):
        if one.label not in ("PCU", _link_of(scene)):
            continue
        if one.outcome.word is Word.CONFIRMED and not _holds(one, scene, plan):
            yield f"confirmed, and not so: {one.kind} {one.subject} {one.outcome.because}"
    programming = report.verdict.parts[Part.PROGRAMMING]
    if programming.word is Word.CONFIRMED and not scene.pump.application_valid:
        yield f"programming confirmed, and the application is not valid: {programming.because}"
    if programming.word is Word.CONFIRMED and LOST_AFTER_RESTART & set(plan.faults) and "reset" in plan.acts:
        yield f"programming confirmed, and the module did not come back: {programming.because}"
    begun = [block for block in scene.pump.blocks if not block.in_ram and block.received != block.size]
    if begun and programming.word not in BROKEN_OFF:
        yield f"programming {programming.word}, and {begun[0].name} is not whole: {programming.because}"


def _link_of(scene: Bench) -> str:
    endpoint = scene.pump.endpoint
    return f"can0:{endpoint.hears_on.text()}>{endpoint.sends_on.text()}"


def _holds(operation: Operation, scene: Bench, plan: Plan) -> bool:
    pump = scene.pump
    if operation.kind is Kind.DOWNLOAD:
        block = next((one for one in pump.blocks if operation.details["address"] == f"{one.address:08X}"), None)
        return block is not None and block.valid and bytes(block.content) == scene.images[block.number]
    if operation.kind is Kind.WRITE:
        held = pump.values.read(int(str(operation.details["identifier"]), 16))
        return held is not None and held.hex().upper() == operation.details["written"]
    if operation.kind is Kind.CLEAR:
        return not pump.dtcs or "dtc-returns" in plan.faults
    if operation.kind is Kind.ROUTINE and operation.part is Part.LEARN:
        return pump.values.read(PRIME_VOLUME) == pump.learns[PRIME_VOLUME]
    return True
