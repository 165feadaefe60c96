"""Requests that change something, and refusals of them that other findings tell."""

from __future__ import annotations

from typing import Final

from analysis.checks.looking.refusals import Refusal
from analysis.checks.looking.transfers import attempts_at
from analysis.checks.registry import Context
from analysis.exchanges import Exchange
from analysis.operations.routines import START, has_begun, read_call
from analysis.story import Story
from canlog.services.traits import Act

#: What changes a module. A mere reading that is refused costs the job nothing.
CHANGING: Final = frozenset(Act) - {
    Act.READ, Act.READ_MEMORY, Act.READ_FAULTS, Act.TESTER_PRESENT, Act.PROGRAMMED_STATE, Act.UPLOAD, Act.OTHER,
}  # fmt: skip
#: Codes for a transfer's request, block and exit that have findings of their own; every code for the exit.
OF_TRANSFERS: Final[dict[Act, frozenset[int]]] = {
    Act.DOWNLOAD: frozenset({0x13, 0x22, 0x24, 0x31, 0x33, 0x70}),
    Act.FILE: frozenset({0x13, 0x22, 0x24, 0x31, 0x33, 0x70}),
    Act.BLOCK: frozenset({0x71, 0x72, 0x73}),
    Act.EXIT: frozenset(range(0x100)),
}
#: A module that lost its session in the middle of a transfer refuses the next block with one of these.
SESSION_IS_GONE: Final = frozenset({0x24, 0x33, 0x7E, 0x7F})


def is_told_elsewhere(ctx: Context, story: Story, refusal: Refusal) -> bool:
    """Another finding is about this very refusal: one cause makes one finding."""
    exchange = refusal.exchange
    if exchange.nrc in OF_TRANSFERS.get(exchange.act, frozenset()) or dropped_at(ctx, story, exchange):
        return True
    if exchange.act is Act.SESSION and story.before(exchange).boot:
        return True  # what runs there has few sessions, and that it runs alone is the finding
    call = read_call(exchange, story.label, ctx.record.names)
    if call is None or call.control != START:
        return False
    if call.kind == "erase":
        return bool(exchange.pendings) or not _has_erased(ctx, story, exchange)
    return call.kind in ("check", "dependencies")


def _has_erased(ctx: Context, story: Story, exchange: Exchange) -> bool:
    """An erase was taken up before: what is said of a refused erase is said of the first ones only."""
    erases = (erase for attempt in attempts_at(ctx, story) for erase in attempt.erases)
    return any(has_begun(erase) and erase.begin < exchange.begin for erase in erases)


def dropped_at(ctx: Context, story: Story, exchange: Exchange) -> bool:
    """A block behind accepted ones of the same transfer that is refused as if no session and no transfer were open."""
    if exchange.act is not Act.BLOCK or exchange.nrc not in SESSION_IS_GONE:
        return False
    return any(
        exchange in attempt.blocks and any(block.positive and block.begin < exchange.begin for block in attempt.blocks)
        for attempt in attempts_at(ctx, story)
    )
