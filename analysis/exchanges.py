"""Requests and their answers.

Rules of pairing, in order of arrival and not of time (clocks step, lines do not):

* an answer belongs to the newest open request of its module that it can answer (same service, echoed
  identifier, sub-function or counter); so after a retry the last request has the answer and the earlier ones
  count as silent;
* ``7F xx 78`` keeps its request open, whatever the suppress bit said;
* an answer on a module's response id may also answer a functional request of the same channel: each module that
  answers makes an exchange of its own;
* an answer that nothing asked for is kept, without a request.

Source: ISO 14229-1:2020, 7.5 and annex A (M); ISO 14229-2 (M).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property

from canlog.isotp.addressing import Direction, Link
from canlog.isotp.messages import Message
from canlog.isotp.steps import HEADLESS_REASONS
from canlog.services.decode import decode_request, decode_response
from canlog.services.layout import Decoded
from canlog.services.matching import answers, is_pending, is_suppressed

#: Where something stands: capture number and source line. Order of places is the order of the job.
Place = tuple[int, int]

#: So many functional requests back an answer is looked for: tester-present goes on for hours.
FUNCTIONAL_MEMORY = 64
#: So many unanswered requests of one link may still get an answer: a poller that nobody answers goes on for hours.
OPEN_MEMORY = 64
NEGATIVE = 0x7F


class Answer(StrEnum):
    """How an exchange ended."""

    POSITIVE = "positive"
    NEGATIVE = "negative"
    SILENT = "silent"
    SUPPRESSED = "suppressed"
    INCOMPLETE = "incomplete"


@dataclass(frozen=True)
class Exchange:
    """One request with what came back.

    ``link`` is the module's link where a module answered, else the link of the request.
    """

    capture: int
    link: Link
    request: Message | None
    pendings: tuple[Message, ...]
    response: Message | None
    outcome: Answer
    number: int = 0
    functional: bool = False
    repeats: int = 0  # the same request sent again before this one was answered

    @property
    def positive(self) -> bool:
        """A whole positive answer came."""
        return self.outcome is Answer.POSITIVE

    @property
    def asked(self) -> bytes:
        """The request's bytes; empty when it is not in the capture."""
        return self.request.data if self.request else b""

    @property
    def answered(self) -> bytes:
        """The final answer's bytes; empty when there is none."""
        return self.response.data if self.response else b""

    @cached_property
    def service(self) -> int:
        """Request service id, taken from the answer when the request is missing."""
        if self.asked:
            return self.asked[0]
        if self.answered[:1] == b"\x7f":
            return self.answered[1] if len(self.answered) > 1 else 0
        return (self.answered[0] - 0x40) & 0xFF if self.answered else 0

    @property
    def nrc(self) -> int | None:
        """The negative response code that ended it."""
        return self.answered[2] if self.outcome is Answer.NEGATIVE and len(self.answered) > 2 else None

    @cached_property
    def ask(self) -> Decoded:
        """The request's fields."""
        return decode_request(self.asked)

    @cached_property
    def answer(self) -> Decoded:
        """The answer's fields."""
        return decode_response(self.answered, request=self.asked or None)

    @cached_property
    def messages(self) -> tuple[Message, ...]:
        """Request, pending responses, final response, as far as seen."""
        return tuple(m for m in (self.request, *self.pendings, self.response) if m is not None)

    @property
    def whole(self) -> bool:
        """Every message of it is complete."""
        return all(m.complete for m in self.messages)

    @cached_property
    def lines(self) -> tuple[int, int]:
        """First and last source line."""
        return (min(m.first_line for m in self.messages), max(m.last_line for m in self.messages))

    @cached_property
    def begin(self) -> Place:
        """Where it begins."""
        return (self.capture, self.messages[0].first_line)

    @cached_property
    def end(self) -> Place:
        """Where it ends."""
        return (self.capture, self.lines[1])

    @property
    def begin_ns(self) -> int:
        """Time of the first frame."""
        return self.messages[0].begin_ns

    @property
    def end_ns(self) -> int:
        """Time of the last frame."""
        return max(m.end_ns for m in self.messages)

    @property
    def answer_lines(self) -> tuple[int, ...]:
        """Lines of the final answer, for evidence."""
        if self.response is None:
            return self.lines
        return self.response.lines if self.response.first_line != self.response.last_line else self.response.lines[:1]


@dataclass(eq=False)
class _Open:
    """A request that waits."""

    capture: int
    request: Message
    link: Link
    pendings: dict[str, list[Message]] = field(default_factory=dict)  # by module link
    modules: set[str] = field(default_factory=set)  # links that gave their final answer
    repeats: int = 0

    @property
    def answered(self) -> bool:
        return bool(self.modules)

    def can_be_answered_by(self, response: Message) -> bool:
        if self.request.last_line > response.first_line or self.request.link.channel != response.link.channel:
            return False
        return bool(answers(self.request.data, response.data))


def pair_exchanges(capture: int, messages: Iterable[Message]) -> list[Exchange]:
    """All exchanges of one capture, in order of their first line; numbers are set by :func:`number`."""
    waiting: dict[str, list[_Open]] = {}
    functional: list[_Open] = []
    everything: list[_Open] = []
    done: list[Exchange] = []
    told = (message for message in messages if message.reason not in HEADLESS_REASONS)
    for message in sorted(told, key=lambda m: (m.first_line, m.last_line)):
        if message.direction is Direction.REQUEST:
            entry = _Open(capture, message, message.link)
            entry.repeats = _retire_repeats(waiting.get(message.link.key, []), message)
            everything.append(entry)
            queue = functional if message.link.functional else waiting.setdefault(message.link.key, [])
            queue.append(entry)
            if not message.link.functional:
                del queue[:-OPEN_MEMORY]
            continue
        exchange = _take_answer(capture, message, waiting.get(message.link.key, []), functional)
        if exchange is not None:
            done.append(exchange)
    done += [_unanswered(entry) for entry in everything if not entry.answered]
    done += _unfinished_functional(functional)
    return sorted(done, key=lambda e: (e.begin, e.end))


def number(exchanges: Sequence[Exchange]) -> list[Exchange]:
    """The same exchanges numbered from 1 in their order."""
    return [replace(exchange, number=index) for index, exchange in enumerate(exchanges, start=1)]


def _retire_repeats(open_requests: list[_Open], message: Message) -> int:
    """How often the same bytes were asked just before without an answer."""
    repeats = 0
    for entry in reversed(open_requests):
        if entry.answered or entry.request.data != message.data:
            break
        repeats += 1
    return repeats


def _take_answer(
    capture: int, message: Message, waiting: list[_Open], functional: list[_Open]
) -> Exchange | None:  # fmt: skip
    """The exchange that this answer ends; None for a pending response."""
    entry = next(
        (entry for entry in reversed(waiting) if not entry.answered and entry.can_be_answered_by(message)), None
    )
    if entry is None:
        key = message.link.key
        entry = next(
            (
                entry
                for entry in reversed(functional[-FUNCTIONAL_MEMORY:])
                if key not in entry.modules and entry.can_be_answered_by(message)
            ),
            None,
        )
    if entry is None:
        return _unasked(capture, message)
    if message.complete and is_pending(message.data):
        entry.pendings.setdefault(message.link.key, []).append(message)
        return None
    entry.modules.add(message.link.key)
    if not entry.link.functional:
        waiting.remove(entry)
    return Exchange(
        capture=capture,
        link=message.link,
        request=entry.request,
        pendings=tuple(entry.pendings.pop(message.link.key, ())),
        response=message,
        outcome=_outcome(message),
        functional=entry.link.functional,
        repeats=entry.repeats,
    )


def _outcome(response: Message) -> Answer:
    if not response.complete:
        return Answer.INCOMPLETE
    return Answer.NEGATIVE if response.data[:1] == b"\x7f" else Answer.POSITIVE


def _unasked(capture: int, message: Message) -> Exchange | None:
    """An answer without a request: only the other half was recorded, or an event answer."""
    if not message.data or not (message.data[0] == NEGATIVE or message.data[0] & 0x40):
        return None
    if message.complete and is_pending(message.data):
        return None
    return Exchange(capture, message.link, None, (), message, _outcome(message))


def _unanswered(entry: _Open) -> Exchange:
    pendings = [message for messages in entry.pendings.values() for message in messages]
    link = pendings[0].link if pendings else entry.link
    if not entry.request.complete:
        outcome = Answer.INCOMPLETE
    elif entry.request.link.functional and not pendings and not is_suppressed(entry.request.data):
        outcome = Answer.SILENT
    elif is_suppressed(entry.request.data) and not pendings:
        outcome = Answer.SUPPRESSED
    else:
        outcome = Answer.SILENT
    return Exchange(
        capture=entry.capture,
        link=link,
        request=entry.request,
        pendings=tuple(pendings),
        response=None,
        outcome=outcome,
        functional=entry.link.functional,
        repeats=entry.repeats,
    )


def _unfinished_functional(functional: list[_Open]) -> list[Exchange]:
    """Modules that said "pending" to a functional request that others answered, and never ended it."""
    return [
        Exchange(entry.capture, messages[0].link, entry.request, tuple(messages), None, Answer.SILENT, functional=True)
        for entry in functional
        if entry.answered
        for messages in entry.pendings.values()
    ]
