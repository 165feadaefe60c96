"""Erases at which a module fell silent, so that one cause makes one finding."""

from __future__ import annotations

from analysis.checks.looking.silent_links import unanswered
from analysis.checks.looking.transfers import routine_calls
from analysis.checks.looking.whole_bus import cut_by_silence
from analysis.checks.registry import Context
from analysis.exchanges import Exchange
from analysis.operations.routines import START
from analysis.story import Story


def silent_erases(ctx: Context, story: Story) -> list[Exchange]:
    """Erases without an answer and without a wait, where the capture goes on for as long as an answer may take."""
    if any((item.number, story.link.key) in ctx.record.one_way for item in ctx.record.captures):
        return []
    explained = {one.number for one, _ in cut_by_silence(ctx)}
    explained |= {step.exchange.number for step in ctx.record.missing_steps}
    erases = [call.exchange for call in routine_calls(ctx, story) if call.kind == "erase" and call.control == START]
    silent = {item.number for item in unanswered(ctx, story)} - explained
    return [item for item in erases if item.number in silent and item.whole and _had_time(ctx, item)]


def _had_time(ctx: Context, exchange: Exchange) -> bool:
    end = ctx.end_ns(exchange.capture)
    return end is None or end - exchange.end_ns > ctx.record.limits.p2_star_client_ns


def fell_silent_at_erase(ctx: Context, story: Story) -> bool:
    """The last thing that the module did not answer first is an erase."""
    own = ctx.own(story)
    heard = [item.begin for item in own if item.response is not None or item.pendings]
    behind = [item for item in own if not heard or item.begin > heard[-1]]
    erases = {item.number for item in silent_erases(ctx, story)}
    return bool(behind) and behind[0].number in erases
