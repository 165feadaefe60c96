"""Communication control (28) and fault storing (85; GMW3110 10).

28 is confirmed by its effect: cyclic frames that stop, or come back; said to all, it is not where an id goes on all
the same. 85 has no effect that a listener could see: at most unproven. Source: ISO 14229-1:2020, 10.5 and 10.8 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.exchanges import Answer, Exchange
from analysis.operations.model import Kind, Operation, evidence, span
from analysis.record import Record
from analysis.words import Confidence, Evidence, Outcome, Word
from canlog.background import IdTraffic
from canlog.services.dialects import UDS
from canlog.services.traits import Act, orders_no_faults, orders_quiet

SHOWN_IDS = 3
#: Sub-functions of 28 that leave sending alone.
RECEIVING_ONLY = (b"\x02", b"\x82")


def find_communication(record: Record) -> list[Operation]:
    """All requests to keep quiet or to store no faults, physical and functional."""
    return [
        _operation(exchange, record) for exchange in record.exchanges if exchange.act in (Act.QUIET, Act.FAULT_SETTING)
    ]


def _operation(exchange: Exchange, record: Record) -> Operation:
    story = record.story(exchange.link.key)
    control = (exchange.asked or exchange.answered)[1:2]
    return Operation(
        kind=Kind.COMMUNICATION,
        link=exchange.link,
        label=story.label if story else exchange.link.key,
        outcome=_outcome(exchange, record),
        subject=f"communication {exchange.service:02X}",
        details={
            "service": f"{exchange.service:02X}",
            "control": f"{control[0] & 0x7F:02X}" if control and exchange.dialect == UDS else None,
            "stops": orders_quiet(exchange.told, exchange.dialect),
            "stores_no_faults": orders_no_faults(exchange.told, exchange.dialect),
            "functional": exchange.functional,
        },
        **span([exchange]),  # type: ignore[arg-type]
    )


def _outcome(exchange: Exchange, record: Record) -> Outcome:
    if exchange.outcome is Answer.NEGATIVE:
        text = f"service {exchange.service:02X} was refused: {exchange.refusal}"
        return Outcome(Word.FAILED, Confidence.HIGH, (evidence(exchange, text),), (text,), "meet the condition first")
    if exchange.outcome in (Answer.SILENT, Answer.INCOMPLETE):
        text = f"service {exchange.service:02X} was not answered"
        return Outcome(Word.INTERRUPTED, Confidence.HIGH, (evidence(exchange, text),), (text,), "ask again")
    effect = _effect(exchange, record) if exchange.act is Act.QUIET else None
    deaf = _go_on(exchange, record) if effect is not None else []
    if effect is not None and not deaf:
        return Outcome(Word.CONFIRMED, Confidence.HIGH, (effect,), (effect.text,))
    if effect is not None:
        ids = ", ".join(deaf[:SHOWN_IDS]) + (f" and {len(deaf) - SHOWN_IDS} more" if len(deaf) > SHOWN_IDS else "")
        text = f"{effect.text}, but {ids} {'goes' if len(deaf) == 1 else 'go'} on: not every module obeys"
        return Outcome(Word.UNPROVEN, Confidence.MEDIUM, (effect,), (text,), "cyclic frames that all stop")
    said = "was accepted" if exchange.positive else "asks for no answer"
    wish = "cyclic frames that stop or return"
    if exchange.act is Act.FAULT_SETTING:  # no frame shows it by itself
        wish = "a fault list, read while a fault is present, that shows whether faults are stored"
    return Outcome(Word.UNPROVEN, Confidence.HIGH, (), (f"service {exchange.service:02X} {said}",), wish)


def _effect(exchange: Exchange, record: Record) -> Evidence | None:
    """A cyclic id of its channel that falls silent, or speaks again, within the neighbourhood of the request."""
    near = record.limits.neighbourhood_ns
    enabling = orders_quiet(exchange.asked, exchange.dialect) is False
    for traffic in _cyclic(exchange, record):
        for gap in traffic.gaps:
            at_ns, line = (gap.to_ns, gap.to_line) if enabling else (gap.from_ns, gap.from_line)
            since = at_ns - exchange.end_ns
            if -near // 10 <= since <= near and line > 0:
                text = f"cyclic frames {traffic.can_id:X} {'return' if enabling else 'stop'} with the request"
                return Evidence(exchange.capture, (int(line),), text)
    return None


def _go_on(exchange: Exchange, record: Record) -> list[str]:
    """Cyclic ids that pay no heed to an order to all: heard before it, and behind it without a pause."""
    is_stop = orders_quiet(exchange.asked, exchange.dialect) and exchange.asked[1:2] not in RECEIVING_ONLY
    if not is_stop or not (exchange.functional or exchange.link.functional):
        return []
    near = record.limits.neighbourhood_ns
    behind = exchange.end_ns + near
    return [
        f"{traffic.can_id:X}"
        for traffic in _cyclic(exchange, record)
        if traffic.period_ns is not None
        and traffic.period_ns <= near
        and traffic.first_ns < exchange.begin_ns
        and traffic.last_ns > behind + traffic.period_ns
        and not any(gap.from_ns <= behind and gap.to_ns > exchange.end_ns for gap in traffic.gaps)
    ]


def _cyclic(exchange: Exchange, record: Record) -> Iterator[IdTraffic]:
    """What else was on its channel; diagnostic ids do not count: they pause whenever nobody asks."""
    diagnostic = {can_id for story in record.stories for can_id in (story.link.request_id, story.link.response_id)}
    diagnostic |= {item.link.request_id for item in record.exchanges if item.functional}
    diagnostic.add(exchange.link.request_id)
    for traffic in record.capture(exchange.capture).survey.background.traffic:
        if traffic.channel == exchange.link.channel and traffic.can_id not in diagnostic:
            yield traffic
