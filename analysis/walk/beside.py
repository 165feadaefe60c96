"""Two sessions side by side, at the place where they part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.compare.sessions import Difference, compare
from analysis.compare.sessions import Step as Compared
from analysis.report.model import Report
from analysis.walk.steps import Step, Walk, walk_through
from canlog.services.traits import Act

#: Steps shown from the parting on.
SHOWN = 3


@dataclass(frozen=True)
class Side:
    """One session: its steps in front of the parting and from it on."""

    walk: Walk
    steps: tuple[Step, ...]
    parts_at: Step | None  # None: it has nothing like the other's step
    told: str


@dataclass(frozen=True)
class Beside:
    """Both sides; ``parting`` is None where the sessions do not part."""

    parting: Difference | None
    good: Side
    bad: Side


def beside(good: Report, bad: Report, *, secrets: bool = False) -> Beside:
    """Where two sessions part: a value that only one of them looked at teaches less than what was done."""
    found = compare(good, bad)
    parting = next((one for one in found.differences if one.matters and not _only_looked(one)), found.parting)
    alike = found.last_alike if parting is found.parting else None
    ends = alike or (None, None)
    here = (parting.good, parting.bad) if parting is not None else (None, None)
    walks = [walk_through(one, secrets=secrets) for one in (good, bad)]
    sides = [_side(one, *places) for one, *places in zip(walks, ends, here, strict=True)]
    return Beside(parting, sides[0], sides[1])


def _only_looked(difference: Difference) -> bool:
    step = difference.good or difference.bad
    is_alone = difference.good is None or difference.bad is None
    return is_alone and step is not None and step.exchange.act in (Act.READ, Act.READ_FAULTS, Act.READ_MEMORY)


def _side(walk: Walk, last_alike: Compared | None, parts_at: Compared | None) -> Side:
    before, at = _find(walk.steps, last_alike), _find(walk.steps, parts_at)
    behind = before + 1 if before is not None else len(walk.steps)  # where nothing says, its end
    begin = at if at is not None else behind
    step = walk.steps[at] if at is not None else None
    told = walk.masks.text(parts_at.told) if parts_at is not None else "nothing like it"
    return Side(walk, walk.steps[max(begin - 1, 0) : begin + SHOWN], step, told)


def _find(steps: Sequence[Step], wanted: Compared | None) -> int | None:
    if wanted is None:
        return None
    number = wanted.exchange.number
    return next((at for at, step in enumerate(steps) if any(one.number == number for one in step.exchanges)), None)
