"""Seeds that a module gave. They are compared and never shown."""

from __future__ import annotations

from typing import NamedTuple

from analysis.checks.registry import Context
from analysis.exchanges import Exchange
from analysis.story import Story
from canlog.services.traits import Act


class Seed(NamedTuple):
    """One seed, of one level."""

    exchange: Exchange
    level: int
    seed: bytes


def seeds(ctx: Context, story: Story) -> list[Seed]:
    """All seeds of a module, in order."""
    given = (item for item in ctx.own(story) if item.act is Act.UNLOCK and item.positive and len(item.answered) > 2)
    found = (Seed(item, item.answered[1], item.answered[2:]) for item in given)
    return [item for item in found if item.level & 1]
