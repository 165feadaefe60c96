"""Changes of session.

confirmed: answered positively and followed by a service that only works in that session, or by F186 naming it;
unproven: only answered, or suppressed; failed: refused for good; interrupted: no answer.
Source: ISO 14229-1:2020, 10.2 (M).
"""

from __future__ import annotations

from analysis.exchanges import Answer, Exchange
from analysis.modes import ACTIVE_SESSION
from analysis.operations.model import Kind, Operation, evidence, span
from analysis.record import Record
from analysis.story import Story
from analysis.words import Confidence, Outcome, Word
from canlog.services.traits import DEFAULT_SESSION, PROGRAMMING_SESSION, Act, traits_of

#: Services that a module refuses in its default session, as a rule.
SESSION_BOUND = frozenset(
    {
        Act.UNLOCK, Act.QUIET, Act.AUTHENTICATE, Act.WRITE, Act.CONTROL, Act.ROUTINE, Act.DOWNLOAD, Act.UPLOAD,
        Act.BLOCK, Act.EXIT, Act.WRITE_MEMORY, Act.FAULT_SETTING,
    }
)  # fmt: skip


def find_sessions(story: Story, record: Record) -> list[Operation]:
    """All requests to change the session of a module."""
    return [
        _operation(exchange, story)
        for exchange in story.exchanges
        if exchange.session is not None and not exchange.link.functional
    ]


def _operation(exchange: Exchange, story: Story) -> Operation:
    value = exchange.session
    return Operation(
        kind=Kind.SESSION,
        link=story.link,
        label=story.label,
        outcome=_outcome(exchange, value, story),
        subject="session",
        details={"session": None if value is None else f"{value:02X}", **_timing(exchange)},
        **span([exchange]),  # type: ignore[arg-type]
    )


def _timing(exchange: Exchange) -> dict[str, object]:
    if not exchange.positive:
        return {"p2_ms": None, "p2_star_ms": None}
    answer = exchange.answer  # only a session of UDS answers them
    return {"p2_ms": answer.get("p2_server_max_ms"), "p2_star_ms": answer.get("p2_star_server_max_ms")}


def _outcome(exchange: Exchange, session: int | None, story: Story) -> Outcome:
    if exchange.outcome is Answer.NEGATIVE:
        text = f"session {session or 0:02X} was refused: {exchange.refusal}"
        return Outcome(Word.FAILED, Confidence.HIGH, (evidence(exchange, text),), (text,), "meet the condition first")
    if exchange.outcome in (Answer.SILENT, Answer.INCOMPLETE):
        text = f"session {session or 0:02X} was not answered"
        return Outcome(Word.INTERRUPTED, Confidence.HIGH, (evidence(exchange, text),), (text,), "ask again")
    if not any(item.response is not None or item.pendings for item in story.own):
        text = f"session {session or 0:02X} was asked for, and nothing on this link ever answers"
        return Outcome(Word.INTERRUPTED, Confidence.HIGH, (evidence(exchange, text),), (text,), "ask again")
    sign = _sign(exchange, session, story)
    if sign is not None:
        text = f"session {session or 0:02X}: {_why(sign)}"
        return Outcome(Word.CONFIRMED, Confidence.HIGH, (evidence(sign, text),), (text,))
    names_it = traits_of(exchange.dialect).reads_session
    wish = "read F186 and capture it" if names_it else "capture a step that works only in it"
    return Outcome(Word.UNPROVEN, Confidence.HIGH, (), (f"session {session or 0:02X} was accepted",), wish)


def _sign(exchange: Exchange, session: int | None, story: Story) -> Exchange | None:
    """A later exchange of the same session that shows it."""
    start = story.start_after(exchange.end)
    for item in story.after(exchange.end):
        if item.capture != exchange.capture or item.act is Act.SESSION:
            return None
        if start is not None and item.begin > start.place and session != PROGRAMMING_SESSION:
            return None
        if _reads_session(item):
            return item if item.answered[3] == session else None
        is_soon = bool(item.pendings) or item.end_ns - item.begin_ns < story.limits.p2_star_client_ns
        if session != DEFAULT_SESSION and item.positive and item.act in SESSION_BOUND and is_soon:
            return item  # an answer that took longer, and asked for no wait, may be that to another request
    return None


def _reads_session(exchange: Exchange) -> bool:
    return (
        exchange.service == 0x22
        and exchange.positive
        and exchange.answered[1:3] == ACTIVE_SESSION.to_bytes(2, "big")
        and len(exchange.answered) > 3
    )


def _why(sign: Exchange) -> str:
    return "F186 names it" if _reads_session(sign) else f"service {sign.service:02X} was accepted in it"
