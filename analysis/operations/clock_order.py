"""Where a clock that goes back leaves open which of two acts came last.

Lines stand in the order in which they were written to the file; files that were joined, and a clock that was set,
look the same. Where the acts behind the step bear earlier times than those in front of it, lines and clock speak
against each other, and neither is believed. Source: common practice, no source.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple, Protocol

from analysis.exchanges import Place
from analysis.limits import Limits
from analysis.operations.model import Kind, Operation
from analysis.record import Record
from analysis.words import BROKEN, Confidence, Outcome, Word, least_sure
from canlog.counting import lasting

WISH = "read what the module holds now, and capture it: the clock leaves open what came last"


class Spanned(Protocol):
    """Anything that begins and ends: an operation, an exchange."""

    @property
    def begin(self) -> Place:
        """Where it begins."""

    @property
    def end(self) -> Place:
        """Where it ends."""

    @property
    def begin_ns(self) -> int:
        """Time of its first frame."""

    @property
    def end_ns(self) -> int:
        """Time of its last frame."""


class Reversal(NamedTuple):
    """A step back of the clock with acts on one module on both sides, in one order by line and another by clock."""

    place: Place
    size_ns: int
    front_ns: int  # the latest end of an act in front of it
    behind_ns: int  # the earliest begin of one behind it

    def leaves_open(self, one: Spanned) -> bool:
        """Whether this came before or after the acts on the other side."""
        if one.begin[0] != self.place[0]:
            return False
        if one.end < self.place:
            return one.end_ns > self.behind_ns
        return one.begin < self.place or one.begin_ns < self.front_ns

    @property
    def text(self) -> str:
        """For people."""
        return f"the clock goes back {lasting(self.size_ns)} at line {self.place[1]}: what came last is not known"


def reversals(record: Record, acts: Iterable[Operation]) -> list[Reversal]:
    """Those among the acts of one module, in order of lines."""
    mine = [item for item in acts if item.part is not None]
    found = []
    for place, size_ns in record.clock_steps_of(mine[0].link.channel) if mine else ():
        if size_ns < record.limits.clock_step_ns:
            continue
        here = [item for item in mine if item.begin[0] == place[0]]
        front = max((item.end_ns for item in here if item.end < place), default=-sys.maxsize)
        behind = min((item.begin_ns for item in here if item.begin >= place), default=sys.maxsize)
        if behind < front:
            found.append(Reversal(place, size_ns, front, behind))
    return found


def lower_what_is_left_open(acts: Sequence[Operation], record: Record) -> list[Operation]:
    """The operations of one module: none of them surer than medium where its place among the others is open.

    A bad word is none where what speaks against the act is on the other side of the step, or may be its second half.
    """
    steps = reversals(record, acts)
    return [_lowered(item, acts, steps, record) for item in acts]


def _lowered(item: Operation, acts: Sequence[Operation], steps: Sequence[Reversal], record: Record) -> Operation:
    if item.outcome.word in BROKEN and (open_by := [one for one in steps if _is_contested(item, acts, one)]):
        because = (*item.outcome.because, open_by[0].text)
        return replace(item, outcome=Outcome(Word.UNPROVEN, Confidence.MEDIUM, (), because, WISH))
    notes = [step.text for step in steps if step.leaves_open(item)][:1] or _before_its_proof(item, record)
    if not notes:
        return item
    outcome = item.outcome
    sure = least_sure([outcome.confidence, Confidence.MEDIUM])
    return replace(item, outcome=replace(outcome, confidence=sure, because=(*outcome.because, *notes)))


def _is_contested(item: Operation, acts: Sequence[Operation], step: Reversal) -> bool:
    """Whether a transfer that broke off went on behind that, or a value was read before its write, is not known."""
    if any(item.begin < step.place <= (one.capture, min(one.lines)) for one in item.outcome.proof):
        return True
    if item.outcome.word is Word.FAILED:
        return False
    same = [one for one in acts if one is not item and one.kind is item.kind and _is_at_the_same(one, item)]
    sides = {one.end < step.place for one in same}
    return step.leaves_open(item) and (item.begin >= step.place) in sides


def _is_at_the_same(one: Operation, other: Operation) -> bool:
    """Of a transfer whose request is on the other side nothing says what it is at."""
    unknown = one.kind is Kind.DOWNLOAD and None in (one.details.get("address"), other.details.get("address"))
    return one.subject == other.subject or unknown


def _before_its_proof(item: Operation, record: Record) -> list[str]:
    """A step between the act and the last of its proof."""
    last = max(((one.capture, max(one.lines)) for one in item.outcome.proof), default=item.end)
    return [
        f"the clock goes back {lasting(size)} at line {place[1]}, between the act and its proof"
        for place, size in record.clock_steps_of(item.link.channel)
        if item.begin < place <= last and size >= record.limits.clock_step_ns
    ][:1]


def is_before(earlier: Operation, later: Operation, limits: Limits) -> bool:
    """By line, and not against the clock."""
    against = earlier.end_ns - later.begin_ns >= limits.clock_step_ns
    return not (against and earlier.begin[0] == later.begin[0] and earlier.end < later.begin)
