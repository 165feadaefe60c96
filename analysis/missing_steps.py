"""Steps that must have been on the bus and are not in the capture: what comes behind them shows it.

| seen | missing |
|---|---|
| a request, a block, an exit or a routine without a final answer, and the step behind it accepted | its answer |
| a block or an exit behind the end of a transfer | the request of a further one |
| an exit accepted without a block behind the request | the blocks |
| a block answered with the counter of another | its own answer |

What the first thing in a capture lacks is told by ``late_start``.
Source: order of the services and counter of the blocks, ISO 14229-1:2020, 14 and 15 (M).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from analysis.exchanges import Answer, Exchange
from analysis.one_way import one_way
from canlog.services.dialects import UDS
from canlog.services.traits import Act

REQUESTS = frozenset({Act.DOWNLOAD, Act.UPLOAD, Act.FILE})
#: What is accepted only behind these.
BEHIND: dict[Act, frozenset[Act]] = {
    Act.ROUTINE: REQUESTS,
    Act.DOWNLOAD: frozenset({Act.BLOCK}),
    Act.UPLOAD: frozenset({Act.BLOCK}),
    Act.FILE: frozenset({Act.BLOCK}),
    Act.BLOCK: frozenset({Act.BLOCK, Act.EXIT}),
    Act.EXIT: REQUESTS | {Act.ROUTINE},
}


class Missing(NamedTuple):
    """What is missing, and the exchange beside it."""

    exchange: Exchange
    text: str  # a clause without its lines
    is_in_front: bool = False  # what is missing stood in front of it

    @property
    def said(self) -> str:
        """The clause with its lines."""
        first, last = self.exchange.lines
        if self.is_in_front:
            return f"{self.text} (before line {first})"
        return f"{self.text} ({f'line {first}' if first == last else f'lines {first}-{last}'})"


def missing_steps(exchanges: Sequence[Exchange]) -> list[Missing]:
    """Those of one capture, link by link, in order of lines; none of a link that has one direction only."""
    links: dict[str, _Order] = {}
    found: list[Missing] = []
    half = one_way(exchanges)
    for item in exchanges:
        if item.link.key not in half and not item.link.functional and not item.functional:
            found += links.setdefault(item.link.key, _Order()).take(item)
    return sorted(found, key=lambda one: one.exchange.begin)


@dataclass
class _Order:
    """One link, step by step."""

    waiting: Exchange | None = None  # the last step, if it has no final answer
    request: Exchange | None = None  # of the transfer that is open
    blocks: int = 0
    is_over: bool = False  # a transfer was ended, and none was begun since

    def take(self, item: Exchange) -> Sequence[Missing]:
        if item.act is Act.SESSION or item.act is Act.RESET:
            self.waiting = self.request = None
            self.is_over = False
            return ()
        if item.act not in BEHIND:
            return ()
        found = list(self._answers(item))
        found += self._beginnings(item)
        echo = item.act is Act.BLOCK and item.request is None
        if not echo:
            self.waiting = item if item.response is None and item.outcome is Answer.SILENT else None
        return found

    def _answers(self, item: Exchange) -> Iterator[Missing]:
        before = self.waiting
        if before is None or not item.positive:
            return
        if item.act is Act.BLOCK and item.request is None:
            self.waiting = None
            yield Missing(
                before, f"{said(before)} was answered with another counter, {item.answered[1:2].hex().upper()}"
            )
        elif item.act in BEHIND[before.act] and _goes_on(before, item):
            yield Missing(before, f"{said(before)} is without an answer, and {said(item)} was accepted")

    def _beginnings(self, item: Exchange) -> Iterator[Missing]:
        if item.act in REQUESTS:
            if item.request is not None and item.outcome is not Answer.NEGATIVE:
                self.request, self.blocks, self.is_over = item, 0, False
            return
        if item.act is Act.BLOCK:
            if self.is_over and item.request is not None and item.positive:
                yield Missing(item, f"the request in front of {said(item)} is missing", is_in_front=True)
                self.is_over = False
            self.blocks += 1
        elif item.act is Act.EXIT and item.positive:
            if self.is_over:
                yield Missing(item, f"the transfer that {said(item)} ends is missing", is_in_front=True)
            elif self.request is not None and not self.blocks:
                yield Missing(item, f"the blocks in front of {said(item)} are missing", is_in_front=True)
            self.request, self.blocks, self.is_over = None, 0, True


def _goes_on(before: Exchange, item: Exchange) -> bool:
    """A block with the next counter, not the same one again."""
    if before.act is not Act.BLOCK or item.act is not Act.BLOCK:
        return True
    if before.dialect != UDS or len(before.asked) < 2 or len(item.told) < 2:
        return False
    return item.told[1] == (before.asked[1] + 1) & 0xFF


def said(item: Exchange) -> str:
    """``36 03``, ``37``: as much of a request as tells it from others."""
    size = {Act.BLOCK: 2, Act.ROUTINE: 4, Act.EXIT: 1}.get(item.act, 1)
    return item.told[:size].hex(" ").upper()
