"""Resets, and whether the module really started anew.

confirmed: answered positively, and a sign of a start: its start message, F186 or a refusal says default session where
another one was open before, access lost, or its cyclic frames stop and return; unproven: answered only; failed:
refused; interrupted: answered, and then nothing from the module although it was asked for at least the time a start
takes.
Source: ISO 14229-1:2020, 10.3 (M); the signs are common practice, no source.
"""

from __future__ import annotations

from analysis.exchanges import Answer, Exchange
from analysis.modes import ACTIVE_SESSION
from analysis.operations.model import Kind, Operation, evidence, span
from analysis.record import Record
from analysis.story import Mode, Story
from analysis.words import Confidence, Evidence, Outcome, Word
from canlog.services.traits import DEFAULT_SESSION, Act, traits_of

NOT_IN_SESSION = frozenset({0x7E, 0x7F})


def find_resets(story: Story, record: Record) -> list[Operation]:
    """All resets asked of a module."""
    return [
        _operation(exchange, story, record)
        for exchange in story.exchanges
        if exchange.act is Act.RESET and not exchange.link.functional
    ]


def _operation(exchange: Exchange, story: Story, record: Record) -> Operation:
    kind = (exchange.asked or exchange.answered)[1:2]
    return Operation(
        kind=Kind.RESET,
        link=story.link,
        label=story.label,
        outcome=_outcome(exchange, story, record),
        subject="reset",
        details={"reset": kind.hex().upper() or None, "dialect": exchange.dialect},
        **span([exchange]),  # type: ignore[arg-type]
    )


def _outcome(exchange: Exchange, story: Story, record: Record) -> Outcome:
    if exchange.outcome is Answer.NEGATIVE:
        text = f"the reset was refused: {exchange.refusal}"
        wish = "restart the module the way the service information asks"
        return Outcome(Word.FAILED, Confidence.HIGH, (evidence(exchange, text),), (text,), wish)
    if exchange.outcome in (Answer.SILENT, Answer.INCOMPLETE):
        text = "the reset was not answered"
        return Outcome(Word.INTERRUPTED, Confidence.HIGH, (evidence(exchange, text),), (text,), "capture the restart")
    sign = _sign(exchange, story, record)
    if sign is not None:
        return Outcome(Word.CONFIRMED, Confidence.HIGH, (sign,), (sign.text,))
    lost = _never_returned(exchange, story, record)
    if lost is not None:
        return Outcome(
            Word.INTERRUPTED, Confidence.HIGH, (lost,), (lost.text,), "an answer of the module after a restart"
        )
    names_session = traits_of(exchange.dialect).reads_session
    wish = "the start message, or F186 read after the reset" if names_session else "the start message after the reset"
    return Outcome(Word.UNPROVEN, Confidence.HIGH, (), ("the reset was accepted",), wish)


def _sign(exchange: Exchange, story: Story, record: Record) -> Evidence | None:
    """What shows that the module started anew behind the reset."""
    following = next((start for start in story.starts if start.place > exchange.end), None)
    horizon = following.place if following and following.mode is Mode.UNKNOWN else None
    if following is not None and following.mode is not Mode.UNKNOWN and following.place[0] == exchange.capture:
        return following.evidence
    state = story.before(exchange)
    unlocked, left = state.unlocked is not None, state.session not in (None, DEFAULT_SESSION)
    for item in story.after(exchange.end):
        if item.capture != exchange.capture or (horizon is not None and item.begin > horizon):
            return None
        if item.act is Act.SESSION:
            return _cyclic_return(exchange, story, record)
        if (
            left
            and item.service == 0x22
            and item.answered[1:4] == ACTIVE_SESSION.to_bytes(2, "big") + bytes([DEFAULT_SESSION])
        ):
            return evidence(item, "F186 says default session after the reset")
        if left and item.nrc in NOT_IN_SESSION:
            return evidence(item, f"service {item.service:02X} is refused in the default session after the reset")
        if unlocked and item.nrc == 0x33:
            return evidence(item, "access is locked again after the reset")
    return _cyclic_return(exchange, story, record)


def _cyclic_return(exchange: Exchange, story: Story, record: Record) -> Evidence | None:
    """Cyclic frames that names give to the module stop behind the reset and come back."""
    module = record.names.module(story.label)
    if module is None:
        return None
    background = record.capture(exchange.capture).survey.background
    for can_id, _ in module.cyclic:
        for gap in background.gaps(can_id):
            if abs(gap.from_ns - exchange.end_ns) <= record.limits.neighbourhood_ns and gap.to_line > exchange.end[1]:
                text = f"cyclic frames {can_id:X} stop and return behind the reset"
                return Evidence(exchange.capture, (int(gap.from_line), int(gap.to_line)), text)
    return None


def _never_returned(exchange: Exchange, story: Story, record: Record) -> Evidence | None:
    later = [item for item in story.after(exchange.end) if item.capture == exchange.capture]
    if not later or any(item.response is not None or item.pendings for item in later):
        return None
    asked = [item for item in later if item.outcome is Answer.SILENT]
    last = record.capture(exchange.capture).survey.summary.last_time_ns
    if not asked or last is None or last - exchange.end_ns < record.limits.reset_return_ns:
        return None
    return evidence(asked[-1], "the module was asked after the reset and never answered again")
