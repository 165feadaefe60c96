"""Steps that must have been on the bus and are not in the capture: what comes behind them shows it.

| seen | missing |
|---|---|
| a request, a block, an exit or a routine without a final answer, and the step behind it accepted | its answer |
| a routine, write or clear without a final answer, and the job goes on: the next request is answered, and it is not asked again | its answer |
| a block or an exit behind the end of a transfer | the request of a further one |
| an exit accepted with fewer bytes than were asked for | the last blocks, or all |
| counters of accepted blocks that skip a value | what stood between |
| an answer without its request | the request |
| all bytes carried, and a step accepted that comes behind the exit | the exit |
| a block answered with the counter of another | its own answer |

What the first thing in a capture lacks is told by ``late_start``.
Source: order of the services and counter of the blocks, ISO 14229-1:2020, 14 and 15 (M); that a tester
which hears nothing asks again or breaks off: common practice, no source; P2* behind a wait answer: ISO 14229-2:2013,
7.2 (M).
"""  # noqa: E501

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from analysis.exchanges import Answer, Exchange, Place
from analysis.timing import P2_STAR_NS
from analysis.trust.one_way import one_way
from canlog.services.dialects import UDS
from canlog.services.traits import Act, traits_of

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

#: What a tester does not leave behind without an answer: it waits, asks again, or breaks off.
WAITED_FOR = frozenset({Act.ROUTINE, Act.WRITE, Act.CLEAR})

#: Counters are told apart up to here.
MOST_BLOCKS = 0xFF


class Missing(NamedTuple):
    """What is missing, and the exchange beside it."""

    exchange: Exchange
    text: str  # a clause without its lines
    is_in_front: bool = False  # what is missing stood in front of it

    @property
    def line(self) -> int:
        """Where the gap is: behind the exchange, or in front of it."""
        return self.exchange.begin[1] - 1 if self.is_in_front else self.exchange.end[1]

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
    last_asked = {(item.link.key, item.asked): item.begin for item in exchanges}
    for item in exchanges:
        if item.link.key not in half and not item.link.functional and not item.functional:
            found += links.setdefault(item.link.key, _Order(last_asked)).take(item)
    return sorted(found, key=lambda one: one.exchange.begin)


@dataclass
class _Order:
    """One link, step by step."""

    last_asked: Mapping[tuple[str, bytes], Place]
    waiting: Exchange | None = None  # the last step, if it has no final answer
    before: Exchange | None = None  # the last request, whatever it asked for
    request: Exchange | None = None  # of the transfer that is open
    blocks: list[Exchange] = field(default_factory=list)
    is_over: bool = False  # a transfer was ended, and none was begun since

    def take(self, item: Exchange) -> Sequence[Missing]:
        if item.act is Act.TESTER_PRESENT:
            return ()
        before, self.before = self.before, item
        goes_on = before is not None and self._job_goes_on(before, item)
        found = list(self._step(item))
        if before is not None and goes_on and not any(one.exchange is before for one in found):
            found.append(Missing(before, f"{said(before)} is without an answer, and {said(item)} was accepted"))
        return found

    def _job_goes_on(self, before: Exchange, item: Exchange) -> bool:
        """What had to be waited for is without an answer, and the tester goes on with something else that is done."""
        if before.act not in WAITED_FOR or before.outcome is not Answer.SILENT:
            return False
        if before.request is None or not before.request.complete or item.request is None or not item.positive:
            return False
        if self.last_asked[before.link.key, before.asked] != before.begin or item.act is Act.SESSION:
            return False
        if before.pendings and not 0 < item.begin_ns - before.end_ns < P2_STAR_NS:
            return False  # waited for in vain: it may hang
        if item.act is Act.RESET and before.act is Act.ROUTINE:
            erases = traits_of(before.dialect).erases
            # a reset ends what hangs; behind a whole transfer and its checks it is the next step
            return self.is_over and not before.pendings and not before.asked.startswith(erases)
        return True

    def _step(self, item: Exchange) -> Sequence[Missing]:
        if item.act is Act.SESSION or item.act is Act.RESET:
            self.waiting = self.request = None
            self.is_over = False
            return ()
        if item.act not in BEHIND:
            return ()
        found = list(self._answers(item))
        is_echo = bool(found) and item.request is None
        if item.request is None and item.positive and not is_echo:
            found.append(Missing(item, f"the request of {said(item)} is missing"))
        found += self._between(item)
        found += self._beginnings(item)
        if not is_echo:
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

    def _between(self, item: Exchange) -> Iterator[Missing]:
        """A block or the exit that was jumped over."""
        last = self.blocks[-1] if self.blocks else None
        if last is None or not (last.positive and item.positive):
            return
        if item.act is Act.BLOCK and _jumps(last, item):
            yield Missing(item, f"what stood between {said(last)} and {said(item)} is missing", is_in_front=True)
        elif item.act in BEHIND[Act.EXIT] and self._lacks() == 0:
            yield Missing(item, f"the transfer exit in front of {said(item)} is missing", is_in_front=True)
            self.request, self.blocks, self.is_over = None, [], True

    def _lacks(self) -> int:
        """Bytes asked for and not carried; -1 where that cannot be said."""
        request, blocks = self.request, self.blocks
        if request is None or request.dialect != UDS or request.act is not Act.DOWNLOAD or len(blocks) > MOST_BLOCKS:
            return -1
        size = request.ask.get("memory_size")
        if request.ask.get("data_format_identifier") or not isinstance(size, int):
            return -1
        carried = {item.asked[1]: item.request.length - 2 for item in blocks if item.request and len(item.asked) > 1}
        return max(size - sum(carried.values()), 0)

    def _beginnings(self, item: Exchange) -> Iterator[Missing]:
        if item.act in REQUESTS:
            if item.request is not None and item.outcome is not Answer.NEGATIVE:
                self.request, self.blocks, self.is_over = item, [], False
            return
        if item.act is Act.BLOCK:
            if self.is_over and item.request is not None and item.positive:
                yield Missing(item, f"the request in front of {said(item)} is missing", is_in_front=True)
                self.is_over = False
            self.blocks.append(item)
        elif item.act is Act.EXIT and item.positive:
            if self.is_over:
                yield Missing(item, f"the transfer that {said(item)} ends is missing", is_in_front=True)
            elif self.request is not None and (not self.blocks or self._lacks() > 0):
                yield Missing(item, f"the blocks in front of {said(item)} are missing", is_in_front=True)
            self.request, self.blocks, self.is_over = None, [], True


def _goes_on(before: Exchange, item: Exchange) -> bool:
    """A block with the next counter, not the same one again."""
    if before.act is not Act.BLOCK or item.act is not Act.BLOCK:
        return True
    if before.dialect != UDS or len(before.asked) < 2 or len(item.told) < 2:
        return False
    return item.told[1] == (before.asked[1] + 1) & 0xFF


def _jumps(last: Exchange, item: Exchange) -> bool:
    """Their counters are neither the same nor next to each other."""
    if item.dialect != UDS or len(last.told) < 2 or len(item.told) < 2:
        return False
    return (item.told[1] - last.told[1]) & 0xFF > 1


def said(item: Exchange) -> str:
    """``36 03``, ``37``: as much of a request as tells it from others."""
    size = {Act.BLOCK: 2, Act.ROUTINE: 4, Act.WRITE: 3}.get(item.act, 1)
    return item.told[:size].hex(" ").upper()
