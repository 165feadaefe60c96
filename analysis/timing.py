"""How soon modules answered, against what they announced themselves.

P2 runs from the last frame of a request to the first frame of what comes back, P2* the same from a pending response
(78). The positive answer to 10 announces both for the session it opens; before, and where nothing is announced, the
standard's server values are the measure. A listener's times are good to a frame time and the jitter of the stamps.

A pair of stamps that a backward step of the clock stands between is not measured. A forward step cannot be told from
a pause.

Source: P2, P2*, S3: ISO 14229-2:2013, 7.2 (M); resolution of the announced values (1 ms, 10 ms): udsoncan 1.26.1.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final, NamedTuple

from analysis.exchanges import Exchange
from canlog.services.dialects import OBD, UDS
from canlog.services.traits import Act

MS_NS: Final = 1_000_000
#: Server values of the standard where a module announced none (ISO 14229-2, M).
P2_NS: Final = 50 * MS_NS
P2_STAR_NS: Final = 5000 * MS_NS
#: An answer is late only beyond these: travel through gateways and the jitter of stamps (common practice, no source).
P2_SLACK_NS: Final = 20 * MS_NS
P2_STAR_SLACK_NS: Final = 100 * MS_NS
_P2_STAR_UNIT_NS: Final = 10 * MS_NS


class Promise(NamedTuple):
    """How soon a module said it answers; without lines it said nothing, and the standard's values stand in."""

    p2_ns: int = P2_NS
    p2_star_ns: int = P2_STAR_NS
    lines: tuple[int, ...] = ()


NO_PROMISE: Final = Promise()


class Wait(NamedTuple):
    """From the end of a question (or of a pending response) to the begin of what came next."""

    length_ns: int
    lines: tuple[int, int]  # last of the question, first of what came
    exchange: Exchange
    promise: Promise
    behind_pending: bool

    @property
    def is_late(self) -> bool:
        """Beyond what was promised and the slack.

        Never for requests to all: with several of them on their way, which one is answered is not certain.
        """
        if self.exchange.functional:
            return False
        if self.behind_pending:
            return self.length_ns > self.promise.p2_star_ns + P2_STAR_SLACK_NS
        return self.length_ns > self.promise.p2_ns + P2_SLACK_NS


@dataclass(frozen=True)
class AnswerTimes:
    """One link in one capture. ``promises`` are those announced, in order."""

    answers: list[Wait] = field(default_factory=list)
    pendings: list[Wait] = field(default_factory=list)  # behind a pending response
    promises: list[Promise] = field(default_factory=list)

    @property
    def late(self) -> Iterator[Wait]:
        """Waits longer than the module itself announced."""
        return (wait for wait in (*self.answers, *self.pendings) if wait.promise.lines and wait.is_late)


def answer_times(exchanges: Iterable[Exchange], step_lines: Sequence[int]) -> AnswerTimes:
    """The waits of one link in one capture.

    Args:
        exchanges: its exchanges, in order.
        step_lines: lines at which the capture's clock stepped back, ascending.
    """
    times = AnswerTimes()
    promise = NO_PROMISE
    for exchange in exchanges:
        for wait in _waits(exchange, promise, step_lines):
            (times.pendings if wait.behind_pending else times.answers).append(wait)
        said = _promised(exchange, promise)
        if said.lines and said != promise:
            times.promises.append(said)
        promise = said
    return times


def _waits(exchange: Exchange, promise: Promise, step_lines: Sequence[int]) -> Iterator[Wait]:
    if exchange.request is None or not exchange.request.complete:
        return
    for number, (before, after) in enumerate(pairwise(exchange.messages)):
        length_ns = after.begin_ns - before.end_ns
        lines = (before.last_line, after.first_line)
        is_stepped = bisect_left(step_lines, before.first_line + 1) < bisect_left(step_lines, after.last_line + 1)
        if length_ns >= 0 and lines[0] < lines[1] and not is_stepped:
            yield Wait(length_ns, lines, exchange, promise, behind_pending=number > 0)


def _promised(exchange: Exchange, promise: Promise) -> Promise:
    """What counts behind an exchange: a new session brings its own values, a restart the module's own again."""
    if not exchange.positive:
        return promise
    if exchange.act is Act.RESET:
        return NO_PROMISE
    if exchange.act is not Act.SESSION:
        return promise
    if exchange.dialect != UDS or len(exchange.answered) < 6:
        return NO_PROMISE
    p2_ns = int.from_bytes(exchange.answered[2:4], "big") * MS_NS
    p2_star_ns = int.from_bytes(exchange.answered[4:6], "big") * _P2_STAR_UNIT_NS
    return Promise(p2_ns, p2_star_ns, exchange.answer_lines) if p2_ns and p2_star_ns else NO_PROMISE


def share(lengths: Sequence[int], percent: int) -> int:
    """The smallest of the ascending lengths that so many percent do not exceed."""
    return lengths[max(-(-len(lengths) * percent // 100) - 1, 0)]


def has_standard_values(exchange: Exchange) -> bool:
    """The dialect whose server values are the default ones here."""
    return exchange.dialect in (UDS, OBD)
