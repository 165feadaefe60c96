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

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property
from itertools import chain

from canlog.isotp.addressing import Direction, Link
from canlog.isotp.messages import Message
from canlog.isotp.steps import HEADLESS_REASONS
from canlog.names.nrc import nrcs
from canlog.services.decode import decode_request, decode_response, name_of
from canlog.services.dialects import UDS
from canlog.services.layout import Decoded
from canlog.services.matching import Silence, answers, is_pending, silence_means
from canlog.services.traits import Act, act_of, session_asked

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

    ``link`` is the module's link where a module answered, else the link of the request; ``dialect`` is what that
    link speaks: the same bytes mean other things in another.
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
    dialect: str = UDS
    named: str = ""  # what the names call the code that refused it

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

    @cached_property
    def act(self) -> Act:
        """What it does, whatever number its dialect has for it."""
        return act_of(self.service, self.dialect)

    @property
    def session(self) -> int | None:
        """The session it asks for; None for any other request. Numbers as ``traits.session_asked``."""
        return session_asked(self.told, self.dialect) if self.act is Act.SESSION else None

    @property
    def told(self) -> bytes:
        """The request's bytes, or as much of them as the answer repeats where the request is not in the capture."""
        return self.asked or bytes([self.service]) + (self.answered[1:] if self.positive else b"")

    @property
    def nrc(self) -> int | None:
        """The negative response code that ended it."""
        return self.answered[2] if self.outcome is Answer.NEGATIVE and len(self.answered) > 2 else None

    @property
    def refusal(self) -> str:
        """The code that refused it, for people: ``72 general programming failure``."""
        return f"{self.nrc or 0:02X} {self.refusal_meaning}"

    @property
    def refusal_meaning(self) -> str:
        """The same without its number; behind it, in quotes, what the names call it."""
        meaning = nrcs(self.dialect)[self.nrc or 0].meaning
        return f'{meaning}, "{self.named}"' if self.named else meaning

    @property
    def name(self) -> str:
        """What the service is called in its dialect."""
        if self.asked:
            return name_of(self.asked, self.dialect)
        return name_of(self.answered, self.dialect, is_response=True)

    @cached_property
    def ask(self) -> Decoded:
        """The request's fields."""
        return decode_request(self.asked, self.dialect)

    @cached_property
    def answer(self) -> Decoded:
        """The answer's fields."""
        return decode_response(self.answered, self.dialect, request=self.asked or None)

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

    def can_be_answered_by(self, response: Message, dialect: str) -> bool:
        if self.request.last_line > response.first_line or self.request.link.channel != response.link.channel:
            return False
        return bool(answers(self.request.data, response.data, dialect))


def pair_exchanges(
    capture: int, messages: Iterable[Message], dialects: Mapping[str, str] | None = None
) -> list[Exchange]:
    """All exchanges of one capture, in order of their first line; numbers are set by :func:`number`.

    Args:
        capture: its number.
        messages: all of its messages.
        dialects: what each link speaks, by its key; UDS where it is not named.
    """
    return _Pairing(capture, dialects or {}).pair(messages)


def number(exchanges: Sequence[Exchange], first: int = 1) -> list[Exchange]:
    """The same exchanges numbered in their order."""
    return [replace(exchange, number=index) for index, exchange in enumerate(exchanges, start=first)]


@dataclass
class _Pairing:
    """The requests of one capture that wait for an answer, and the exchanges that are done."""

    capture: int
    dialects: Mapping[str, str]
    waiting: dict[str, list[_Open]] = field(default_factory=dict)  # by link
    functional: list[_Open] = field(default_factory=list)
    everything: list[_Open] = field(default_factory=list)
    done: list[Exchange] = field(default_factory=list)

    def pair(self, messages: Iterable[Message]) -> list[Exchange]:
        told = (message for message in messages if message.reason not in HEADLESS_REASONS)
        for message in sorted(told, key=lambda m: (m.first_line, m.last_line)):
            if message.direction is Direction.REQUEST:
                self._ask(message)
            else:
                self._answer(message)
        for entry in self.everything:
            if not entry.answered:
                self._end_unanswered(entry)
        self._end_functional()
        return sorted(self.done, key=lambda e: (e.begin, e.end))

    def _dialect(self, link: Link) -> str:
        return self.dialects.get(link.key, UDS)

    def _ask(self, message: Message) -> None:
        entry = _Open(self.capture, message, message.link)
        entry.repeats = _repeats(self.waiting.get(message.link.key, []), message)
        self.everything.append(entry)
        if message.link.functional:
            self.functional.append(entry)
            return
        queue = self.waiting.setdefault(message.link.key, [])
        queue.append(entry)
        del queue[:-OPEN_MEMORY]

    def _answer(self, message: Message) -> None:
        """End the exchange that this answer belongs to; a pending response only goes on it."""
        dialect = self._dialect(message.link)
        entry = self._open_for(message, dialect)
        is_promise = message.complete and is_pending(message.data, dialect)
        if entry is None:
            if not is_promise and _may_be_answer(message.data):
                self._end(message, None, (), message, _outcome(message))
            return
        if is_promise:
            entry.pendings.setdefault(message.link.key, []).append(message)
            return
        entry.modules.add(message.link.key)
        if not entry.link.functional:
            self.waiting[message.link.key].remove(entry)
        self._end(message, entry, entry.pendings.pop(message.link.key, ()), message, _outcome(message))

    def _open_for(self, message: Message, dialect: str) -> _Open | None:
        """The newest request that waits for it: of its own link, else one to a group of modules."""
        key = message.link.key
        own = (entry for entry in reversed(self.waiting.get(key, [])) if not entry.answered)
        group = (entry for entry in reversed(self.functional[-FUNCTIONAL_MEMORY:]) if key not in entry.modules)
        return next((entry for entry in chain(own, group) if entry.can_be_answered_by(message, dialect)), None)

    def _end(
        self,
        first: Message,
        entry: _Open | None,
        pendings: Iterable[Message],
        response: Message | None,
        outcome: Answer,
    ) -> None:
        """One exchange more; ``first`` stands on the link that it counts for."""
        self.done.append(
            Exchange(
                capture=self.capture,
                link=first.link,
                request=entry.request if entry else None,
                pendings=tuple(pendings),
                response=response,
                outcome=outcome,
                functional=entry is not None and entry.link.functional,
                repeats=entry.repeats if entry else 0,
                dialect=self._dialect(first.link),
            )
        )

    def _end_unanswered(self, entry: _Open) -> None:
        pendings = [message for messages in entry.pendings.values() for message in messages]
        first = pendings[0] if pendings else entry.request
        silence = silence_means(entry.request.data, entry.link.functional, bool(pendings), self._dialect(first.link))
        if not entry.request.was_sent:
            outcome = Answer.INCOMPLETE
        elif not entry.request.complete:
            outcome = Answer.SILENT  # it never reached the module: no suppressed answer either
        elif silence in (Silence.MAY_BE_SUCCESS, Silence.ELSEWHERE):
            outcome = Answer.SUPPRESSED
        else:
            outcome = Answer.SILENT
        self._end(first, entry, pendings, None, outcome)

    def _end_functional(self) -> None:
        """Modules that said "pending" to a functional request that others answered, and never ended it."""
        for entry in self.functional:
            for messages in entry.pendings.values() if entry.answered else ():
                self._end(messages[0], entry, messages, None, Answer.SILENT)


def _repeats(open_requests: list[_Open], message: Message) -> int:
    """How often the same bytes were asked just before without an answer."""
    repeats = 0
    for entry in reversed(open_requests):
        if entry.answered or entry.request.data != message.data:
            break
        repeats += 1
    return repeats


def _outcome(response: Message) -> Answer:
    if not response.complete:
        return Answer.INCOMPLETE
    return Answer.NEGATIVE if response.data[:1] == b"\x7f" else Answer.POSITIVE


def _may_be_answer(data: bytes) -> bool:
    """An answer without a request: only the other half was recorded, or an event answer."""
    return bool(data) and (data[0] == NEGATIVE or bool(data[0] & 0x40))
