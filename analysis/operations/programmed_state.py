"""What a module says of its own memory when asked (GMW3110, A2): everything in place, or which of it is not.

It speaks of the whole module, so only what is said behind the last transfer counts, and it proves only when said behind
the return to normal mode or a restart. Source: GMW3110 1.6; that order: common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

from analysis.exchanges import Exchange, Place
from analysis.story import Story
from canlog.services.gmw3110 import FULLY_PROGRAMMED, PROGRAMMED_STATES
from canlog.services.traits import Act, programmed_state


class SaidState(NamedTuple):
    """A state that a module told; ``is_settled``: behind the return to normal mode or a restart."""

    exchange: Exchange
    state: int
    is_settled: bool

    @property
    def text(self) -> str:
        """``00 fully programmed``."""
        return f"{self.state:02X} {PROGRAMMED_STATES.name(self.state)}"

    @property
    def is_good(self) -> bool:
        """Everything is in place, and the module has left programming."""
        return self.state == FULLY_PROGRAMMED and self.is_settled


def state_behind(end: Place, story: Story) -> SaidState | None:
    """The last state told behind the end of every transfer; None where it was not told or the dialect has none."""
    normal = story.normal_after(end)
    said = None
    for exchange in story.after(end):
        if exchange.act is not Act.PROGRAMMED_STATE or not exchange.positive:
            continue
        state = programmed_state(exchange.answered, exchange.dialect)
        if state is not None:
            said = SaidState(exchange, state, normal is not None and exchange.begin > normal)
    return said
