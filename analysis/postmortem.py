"""What can be said about a break: how far the job had come, who fell silent first, what share was carried.

Only for a job in which a download did not end well, or whose module is mute or in its boot loader.
Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.exchanges import Answer, Exchange
from analysis.modules import ModuleState, Now
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, evidence
from analysis.record import Record
from analysis.silence import Silent, who_fell_silent
from analysis.story import Story
from analysis.supply import SupplyReading, supply_readings
from analysis.words import Evidence, Word

Stage = Literal[
    "before-session", "before-erase", "in-erase", "in-transfer", "before-check", "in-check", "before-reset",
    "after-reset", "unknown",
]  # fmt: skip
BROKEN = (Word.FAILED, Word.INTERRUPTED)


@dataclass(frozen=True, slots=True)
class PostMortem:
    """The facts of a break. Causes are ranked elsewhere, from more than one sign."""

    stage: Stage
    last_good: Evidence | None
    first_bad: Evidence | None
    silent_first: Silent
    share_carried: float | None
    supply: tuple[SupplyReading, ...]


def post_mortem(
    record: Record, operations: Sequence[Operation], modules: Sequence[ModuleState]
) -> PostMortem | None:  # fmt: skip
    """The facts of the worst break; None when nothing broke."""
    broken = [
        item
        for item in standing(operations)
        if item.kind is Kind.DOWNLOAD and not item.details["driver"] and item.outcome.word in BROKEN
    ]
    if broken:
        story = record.story(broken[-1].link.key)
        return _of_download(broken[-1], story, record) if story is not None else None
    lost = next((item for item in modules if item.now in (Now.BOOT, Now.SILENT) and _concerns_us(item)), None)
    return _of_module(lost.story, record) if lost is not None else None


def _concerns_us(module: ModuleState) -> bool:
    """It spoke once, or somebody gave it a name: not merely an address that a scan tried."""
    return module.story.named or any(item.response is not None for item in module.story.exchanges)


def _of_download(operation: Operation, story: Story, record: Record) -> PostMortem:
    mine = set(operation.exchanges)
    own = [item for item in story.exchanges if item.link.key == story.link.key]
    members = [item for item in own if item.number in mine]
    asked, carried = operation.details["size_asked"], operation.details["size_carried"]
    share = carried / asked if isinstance(asked, int) and isinstance(carried, int) and asked else None
    bad = next((item for item in members if not item.positive), None)
    good = [item for item in own if item.positive and (bad is None or item.begin < bad.begin)]
    return PostMortem(
        stage=_stage(operation, members),
        last_good=evidence(good[-1], _said(good[-1])) if good else None,
        first_bad=evidence(bad, _said(bad)) if bad is not None else None,
        silent_first=who_fell_silent(story, record),
        share_carried=share,
        supply=tuple(supply_readings(record)),
    )


def _of_module(story: Story, record: Record) -> PostMortem:
    own = [item for item in story.exchanges if item.link.key == story.link.key]
    bad = next((item for item in own if item.outcome in (Answer.NEGATIVE, Answer.SILENT)), None)
    good = [item for item in own if item.positive and (bad is None or item.begin < bad.begin)]
    return PostMortem(
        stage="unknown",
        last_good=evidence(good[-1], _said(good[-1])) if good else None,
        first_bad=evidence(bad, _said(bad)) if bad is not None else None,
        silent_first=who_fell_silent(story, record),
        share_carried=None,
        supply=tuple(supply_readings(record)),
    )


def _stage(operation: Operation, members: Sequence[Exchange]) -> Stage:
    services = {item.service for item in members}
    if 0x36 in services or 0x34 in services:
        if not operation.details["ended"]:
            return "in-transfer"
        last = members[-1]
        return "in-check" if last.service == 0x31 and not last.positive else "after-reset"
    return "in-erase"


def _said(exchange: Exchange) -> str:
    """The exchange in a few plain words."""
    what = exchange.ask.name if exchange.asked else "an answer without its request"
    if exchange.nrc is not None:
        return f"{what}: refused with {exchange.nrc:02X}"
    return f"{what}: {exchange.outcome.value}"
