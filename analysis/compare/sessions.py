"""Two sessions side by side: where they part first, and the differences that matter behind it.

Steps are aligned by what they do (module, service, identifier, block of a download), never by time; seeds, keys and
the tester's keep-alive are left aside. A step is known by its meaning and by how often that stood before it, so both
sessions become sequences without repeats and the longest common order of them is found in n log n.
"""

from __future__ import annotations

import hashlib
from bisect import bisect_left
from collections import Counter
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby
from typing import NamedTuple

from analysis.exchange_words import tell
from analysis.exchanges import Answer, Exchange
from analysis.operations.block_form import COUNTED
from analysis.readings import read_values_of
from analysis.record import Record
from analysis.report.model import Report
from canlog.services.dialects import UDS
from canlog.services.traits import Act, item_written, location_of

#: An answer is late when it took so many times as long as any in the good session, and so much more at least.
LATE_TIMES, LATE_NS = 3, 500_000_000
EVERYBODY = "all modules"
#: A routine by its identifier and the byte behind it, which often names a block; FF00 by the memory it erases.
ROUTINE_AND_BLOCK = 5
ERASE = b"\xff\x00"
#: What leaves a module as it was.
READINGS = frozenset({Act.READ, Act.READ_FAULTS, Act.READ_MEMORY, Act.PROGRAMMED_STATE})


class Kind(StrEnum):
    """How two sessions differ in one step."""

    ANSWER = "answer"
    VALUE = "value read"
    WRITTEN = "value written"
    DATA = "memory written"
    LATE = "later"
    MISSING = "only in the good session"
    ADDED = "only in the bad session"


class Step(NamedTuple):
    """One exchange by its meaning: ``key`` ends with how often that stood before, so it is unique in its session."""

    key: tuple[Hashable, ...]
    who: str
    exchange: Exchange
    told: str
    as_written: bool | None = None  # it reads what was written before it; None where it reads nothing that was


@dataclass(frozen=True, slots=True)
class Difference:
    """One place where the sessions differ. A side is None where it has no such step."""

    kind: Kind
    good: Step | None
    bad: Step | None
    text: str

    @property
    def matters(self) -> bool:
        """It may explain a failure.

        Values that any two vehicles may differ in and lateness do not by themselves; nor does a reading that only one
        session made: it changes nothing in a module. Asked alone and without an answer it does: something fell silent.
        So does a value that reads as written in one session and otherwise in the other.
        """
        if self.kind is Kind.VALUE:
            return self.good is not None and self.bad is not None and self.good.as_written is not self.bad.as_written
        if self.kind is Kind.LATE:
            return False
        return not (self.kind in (Kind.MISSING, Kind.ADDED) and self._is_reading_that_ended())

    def _is_reading_that_ended(self) -> bool:
        step = self.good or self.bad
        if step is None or step.exchange.act not in READINGS:
            return False
        is_to_all = step.exchange.functional or step.exchange.link.functional
        return is_to_all or step.exchange.outcome in (Answer.POSITIVE, Answer.NEGATIVE)


@dataclass(frozen=True, slots=True)
class Comparison:
    """What came out of comparing a good session with a bad one."""

    last_alike: tuple[Step, Step] | None  # in front of the parting
    parting: Difference | None
    differences: tuple[Difference, ...]  # in order, the parting among them
    n_alike: int
    n_good: int
    n_bad: int


def compare(good: Report, bad: Report) -> Comparison:
    """Align two sessions and say where they part."""
    roles_good, roles_bad = _roles(good.record, bad.record)
    ours, theirs = steps(good.record, roles_good), steps(bad.record, roles_bad)
    pairs = _common_order([one.key for one in ours], [one.key for one in theirs])
    slowest = _slowest(ours)
    differences: list[Difference] = []
    last_alike, n_alike = None, 0
    parting = None
    for mine, other in _merged(ours, theirs, pairs):
        found = _difference(mine, other, slowest)
        if found is not None:
            differences.append(found)
            parting = parting or (found if found.matters else None)
        elif mine is not None and other is not None:
            n_alike += 1
        if parting is None and mine is not None and other is not None:
            last_alike = mine, other
    return Comparison(last_alike, parting, tuple(differences), n_alike, len(ours), len(theirs))


def steps(record: Record, roles: Mapping[str, str]) -> list[Step]:
    """The session as steps, in order, the tester's keep-alive left out."""
    labels = {story.link.key: story.label for story in record.stories if story.named}
    seen: Counter[Hashable] = Counter()
    target: dict[str, object] = {}  # the download that is open at each module
    written: dict[tuple[str, int], bytes] = {}  # the last value of each identifier of a module
    found = []
    for exchange in _by_part(record, roles):
        if exchange.act is Act.TESTER_PRESENT:
            continue
        role = roles.get(exchange.link.key, EVERYBODY)
        if exchange.act in (Act.DOWNLOAD, Act.UPLOAD):
            place = location_of(exchange.asked, exchange.dialect)
            target[role] = place.address if place is not None else None
        meaning = (role, _meaning(exchange, target.get(role)))
        seen[meaning] += 1
        label = labels.get(exchange.link.key, "")
        told = tell(exchange, label, record)
        if exchange.act is Act.WRITE and exchange.positive and (item := item_written(exchange.asked, exchange.dialect)):
            written[role, item.identifier] = item.data
        as_written = _reads_as_written(exchange, label, role, written, record)
        found.append(Step((*meaning, seen[meaning]), label or role, exchange, told, as_written))
    return found


def _by_part(record: Record, roles: Mapping[str, str]) -> Iterator[Exchange]:
    """In order of time, but the answers to one request to all by who gave them: which comes first is chance."""
    for _, same in groupby(record.exchanges, key=lambda one: one.begin):
        yield from sorted(same, key=lambda one: roles.get(one.link.key, EVERYBODY))


def _reads_as_written(
    exchange: Exchange, label: str, role: str, written: Mapping[tuple[str, int], bytes], record: Record
) -> bool | None:
    """Whether an answer holds what was written before it; None where it holds nothing that was."""
    equal = [
        one.raw == data or (one.name is not None and one.name.equal_ignoring(one.raw, data))
        for one in read_values_of(exchange, label, record.names)
        if not one.key[0] and (data := written.get((role, one.identifier))) is not None
    ]
    return all(equal) if equal else None


def _meaning(exchange: Exchange, target: object) -> Hashable:
    """What is asked for, without what changes from vehicle to vehicle."""
    told = exchange.told
    match exchange.act:
        case Act.BLOCK:
            return exchange.act, target, COUNTED.read(told).mark if exchange.dialect == UDS else told[1:6]
        case Act.UNLOCK | Act.AUTHENTICATE:
            return exchange.act, told[1:2]
        case Act.WRITE if (item := item_written(told, exchange.dialect)) is not None:
            return exchange.act, item.service, item.identifier
        case Act.ROUTINE if told[2:4] != ERASE:
            return exchange.act, told[: ROUTINE_AND_BLOCK if exchange.dialect == UDS else 2]
        case Act.DOWNLOAD | Act.UPLOAD | Act.FILE | Act.EXIT:
            return exchange.act, target
    return exchange.act, told


def _roles(good: Record, bad: Record) -> tuple[dict[str, str], dict[str, str]]:
    """A name for each link, the same for the same part in both: by its name, its ids, or as the only one left."""
    roles: tuple[dict[str, str], dict[str, str]] = ({}, {})
    for record, found in zip((good, bad), roles, strict=True):
        for story in record.stories:
            if story.exchanges:
                found[story.link.key] = story.label if story.named else story.link.key.partition(":")[2]
    alone = [[key for key in found if found[key] not in other.values()] for found, other in (roles, roles[::-1])]
    if len(alone[0]) == len(alone[1]) == 1:
        roles[1][alone[1][0]] = roles[0][alone[0][0]]
    return roles


def _common_order(ours: Sequence[Hashable], theirs: Sequence[Hashable]) -> list[tuple[int, int]]:
    """The longest run of keys that both have in the same order, as pairs of places. Keys do not repeat."""
    place = {key: at for at, key in enumerate(theirs)}
    shared = [(at, place[key]) for at, key in enumerate(ours) if key in place]
    tails: list[int] = []
    last_of: list[int] = []  # index into shared, by length
    before: list[int | None] = []
    for index, (_, other) in enumerate(shared):
        length = bisect_left(tails, other)
        before.append(last_of[length - 1] if length else None)
        if length == len(tails):
            tails.append(other)
            last_of.append(index)
        else:
            tails[length], last_of[length] = other, index
    chosen: list[tuple[int, int]] = []
    at: int | None = last_of[-1] if last_of else None
    while at is not None:
        chosen.append(shared[at])
        at = before[at]
    return chosen[::-1]


def _merged(
    ours: Sequence[Step], theirs: Sequence[Step], pairs: Sequence[tuple[int, int]]
) -> Iterator[tuple[Step | None, Step | None]]:
    """All steps of both, in one order: what one side has alone stands in front of the next common step."""
    mine = other = 0
    for here, there in [*pairs, (len(ours), len(theirs))]:
        yield from _gap(ours[mine:here], theirs[other:there])
        if here < len(ours) and there < len(theirs):
            yield ours[here], theirs[there]
        mine, other = here + 1, there + 1


def _gap(ours: Sequence[Step], theirs: Sequence[Step]) -> Iterator[tuple[Step | None, Step | None]]:
    """Between two common steps: the same meaning in the same order is the same step, however often it stood before."""
    waiting: dict[Hashable, list[int]] = {}
    for at, one in enumerate(theirs):
        waiting.setdefault(one.key[:-1], []).append(at)
    done = 0
    for one in ours:
        places = waiting.get(one.key[:-1], [])
        nearest = bisect_left(places, done)
        if nearest == len(places):
            yield one, None
            continue
        there = places[nearest]
        yield from ((None, other) for other in theirs[done:there])
        yield one, theirs[there]
        done = there + 1
    yield from ((None, other) for other in theirs[done:])


def _slowest(steps: Sequence[Step]) -> dict[tuple[str, Act], int]:
    """The longest that each kind of act took in the good session, in ns."""
    slowest: dict[tuple[str, Act], int] = {}
    for one in steps:
        key = one.who, one.exchange.act
        slowest[key] = max(slowest.get(key, 0), _duration(one))
    return slowest


def _duration(step: Step) -> int:
    return step.exchange.end_ns - step.exchange.begin_ns


def _difference(
    good: Step | None, bad: Step | None, slowest: Mapping[tuple[str, Act], int]
) -> Difference | None:  # fmt: skip
    if good is None:
        return None if bad is None else Difference(Kind.ADDED, None, bad, bad.told)
    if bad is None:
        return Difference(Kind.MISSING, good, None, good.told)
    kind = _kind(good, bad, slowest)
    return None if kind is None else Difference(kind, good, bad, f"{good.told} | {bad.told}")


def _kind(good: Step, bad: Step, slowest: Mapping[tuple[str, Act], int]) -> Kind | None:
    ours, theirs = good.exchange, bad.exchange
    if (ours.outcome, ours.nrc) != (theirs.outcome, theirs.nrc):
        return Kind.ANSWER
    if ours.act is Act.BLOCK and _digest(ours) != _digest(theirs):
        return Kind.DATA
    if ours.act is Act.WRITE and ours.asked != theirs.asked:
        return Kind.WRITTEN
    if ours.act in (Act.DOWNLOAD, Act.UPLOAD, Act.FILE) and ours.asked != theirs.asked:
        return Kind.DATA
    if (
        ours.outcome is Answer.POSITIVE
        and ours.answered != theirs.answered
        and ours.act not in (Act.UNLOCK, Act.AUTHENTICATE)
    ):
        return Kind.VALUE if ours.act in READINGS - {Act.PROGRAMMED_STATE} else Kind.ANSWER
    usual = slowest.get((good.who, ours.act), 0)
    late = _duration(bad) > LATE_TIMES * usual and _duration(bad) - usual > LATE_NS
    return Kind.LATE if late else None


def _digest(exchange: Exchange) -> bytes:
    return hashlib.sha256(exchange.asked).digest()
