"""A request was never answered.

What is seen: a request to one module wanted an answer and had none, and the capture goes on long enough.
What it can mean: The module is off, asleep, on another bus or behind a closed gateway; a wrong address; it was just
starting.
How to tell it from look-alikes: a request that asks for no answer (suppress bit), or goes to all; a record that kept
one direction only; a scan of addresses, most of which belong to nobody
What to try: ask the module with {alive} and look for its cyclic messages; check its supply, fuse and line
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the requests. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.breaks.silence import Silent
from analysis.checks.looking.behind_gateway import never_heard
from analysis.checks.looking.broken_messages import NO_FLOW_CONTROL, ONLY_WAITS
from analysis.checks.looking.refusals import act_of, asked, last_of_acts
from analysis.checks.looking.silent_erases import silent_erases
from analysis.checks.looking.silent_links import fell_silent, lost_resets, unanswered
from analysis.checks.looking.whole_bus import cut_by_silence
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Exchange
from analysis.operations.model import evidence
from analysis.story import Story
from analysis.trust.doubts import Doubt
from analysis.words import Confidence, Severity
from canlog.counting import counted


@check("request-unanswered", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    one_way = {key for _, key in ctx.record.one_way}
    cut = {one.number for one, _ in cut_by_silence(ctx)}
    cut |= {step.exchange.number for step in ctx.record.missing_steps}
    gone = {story.link.key for who in (Silent.MODULE, Silent.EVERYTHING) for story in fell_silent(ctx, who)}
    gone |= {item.link.key for item in lost_resets(ctx)}
    behind = {story.link.key for story in never_heard(ctx)}
    nobody: list[Exchange] = []  # addresses that a scan went by: one note for all of them
    for story in ctx.stories:
        told = {item.number for item in silent_erases(ctx, story)}
        own = ctx.own(story)
        heard = [item.begin for item in own if item.response is not None]
        answered = last_of_acts(item for item in own if item.response is not None)
        found = [
            item
            for item in unanswered(ctx, story)
            if _had_time(ctx, item)
            and item.number not in cut | told
            and not _found_no_receiver(item)
            and answered.get(act_of(item), item.begin) <= item.begin
            and (story.link.key not in gone or item.begin < heard[-1])
        ]
        if not found or story.link.key in one_way | behind:
            continue
        if not heard and not story.named and not _is_touched(ctx, story):
            nobody += found
        else:
            yield _unanswered(ctx, story, found, is_heard=bool(heard))
    if nobody:
        links = list(dict.fromkeys(item.link.key for item in nobody))
        text = f"Never heard: {', '.join(links)}; {counted(len(nobody), 'request')} without an answer."
        shown = tuple(evidence(item, f"{asked(item)}: no answer") for item in nobody)
        yield Seen(_sure(ctx, nobody), shown, text, severity=Severity.NOTE if len(links) > 1 else None)


def _found_no_receiver(exchange: Exchange) -> bool:
    """Its first frame was not taken up: that has findings of its own."""
    return exchange.request is not None and exchange.request.reason in (NO_FLOW_CONTROL, ONLY_WAITS)


def _is_touched(ctx: Context, story: Story) -> bool:
    """Somebody tried to change something in it."""
    return any(item.part is not None and item.link.key == story.link.key for item in ctx.operations)


def _unanswered(ctx: Context, story: Story, found: Sequence[Exchange], *, is_heard: bool) -> Seen:
    ending = "." if is_heard else "; the module is never heard."
    text = f"{story.label}: {counted(len(found), 'request')} without an answer{ending}"
    shown = tuple(evidence(item, f"{asked(item)}: no answer") for item in found)
    return Seen(_sure(ctx, found), shown, text)


def _sure(ctx: Context, found: Sequence[Exchange]) -> Confidence:
    lossy = any(one.doubt is Doubt.LOSS for item in found for one in ctx.record.troubles[item.capture].items)
    return Confidence.MEDIUM if lossy else Confidence.HIGH


def _had_time(ctx: Context, exchange: Exchange) -> bool:
    """The capture goes on for as long as an answer may take."""
    end = ctx.end_ns(exchange.capture)
    return end is None or end - exchange.end_ns > ctx.record.limits.module_silent_ns
