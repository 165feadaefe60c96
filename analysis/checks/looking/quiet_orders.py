"""Orders to keep quiet (28) or to store no faults (85), and what ends them."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from analysis.checks.registry import Context
from analysis.exchanges import Answer, Exchange
from analysis.operations.model import Kind
from analysis.words import Word

DEFAULT_SESSIONS = (0x01, 0x81)
#: A module falls back to its default session so long after the last request. ISO 14229-2, S3 (M).
S3_NS = 5_000_000_000


def left_off(ctx: Context, service: int, off: Collection[int]) -> Iterator[Exchange]:
    """Orders that nothing ended: no counter-order, no default session, no restart, no time-out of the session.

    One of each link. Where programming stopped half-way the end of the order is not due yet.
    """
    for exchange in _last_orders(ctx, service, off):
        later = [item for item in ctx.record.exchanges if item.begin > exchange.begin and _reaches(item, exchange)]
        if any(_ends(item, service, off) for item in later) or _job_broke_off(ctx):
            continue
        end = ctx.end_ns(exchange.capture)
        talk = [item.end_ns for item in (exchange, *later) if item.capture == exchange.capture]
        if end is None or end - max(talk) < S3_NS:
            yield exchange


def _last_orders(ctx: Context, service: int, off: Collection[int]) -> list[Exchange]:
    orders = [
        item
        for item in ctx.record.exchanges
        if item.service == service and item.outcome in (Answer.POSITIVE, Answer.SUPPRESSED) and _control(item) in off
    ]
    return list({item.link.key: item for item in orders}.values())


def _control(exchange: Exchange) -> int:
    told = exchange.asked or exchange.answered
    return told[1] & 0x7F if len(told) > 1 else -1


def _reaches(item: Exchange, order: Exchange) -> bool:
    """It was said to everybody the order was said to: to the same module, or to all on the channel."""
    if item.link.key == order.link.key:
        return True
    return (item.functional or item.link.functional) and item.link.channel == order.link.channel


def _ends(item: Exchange, service: int, off: Collection[int]) -> bool:
    if item.outcome not in (Answer.POSITIVE, Answer.SUPPRESSED):
        return False
    if item.service == service:
        return _control(item) not in off
    return item.service == 0x11 or (item.service == 0x10 and _control(item) in DEFAULT_SESSIONS)


def _job_broke_off(ctx: Context) -> bool:
    return any(
        item.outcome.word in (Word.FAILED, Word.INTERRUPTED) and not item.details["driver"]
        for item in ctx.standing(Kind.DOWNLOAD)
    )
