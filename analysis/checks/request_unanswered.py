"""A request was never answered.

What is seen: a request to one module wanted an answer and had none, and the capture goes on long enough.
What it can mean: The module is off, asleep, on another bus or behind a closed gateway; a wrong address; it was just
starting.
How to tell it from look-alikes: a request that asks for no answer (suppress bit); a request to all, which a module
may leave unanswered; a record that kept one direction only
What to try: ask the module with 3E 00 and look for its cyclic messages; check its supply, fuse and line
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the requests. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.refusals import asked, same_act
from analysis.checks.registry import Context, Seen, check
from analysis.checks.silent_links import fell_silent, lost_resets, one_sided, unanswered
from analysis.exchanges import Exchange
from analysis.operations.model import evidence
from analysis.silence import Silent
from analysis.story import Story
from analysis.words import Confidence, Severity


@check("request-unanswered", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    explained = (
        {story.link.key for who in (Silent.MODULE, Silent.TESTER, Silent.EVERYTHING) for story in fell_silent(ctx, who)}
        | {item.link.key for item in lost_resets(ctx)}
        | {link.key for link in one_sided(ctx)}
    )
    for story in ctx.stories:
        open_ones = [
            item for item in unanswered(ctx, story) if _had_time(ctx, item) and not _answered_later(ctx, story, item)
        ]
        if not open_ones or story.link.key in explained:
            continue
        never = all(item.response is None for item in ctx.own(story))
        text = f"{story.label}: {len(open_ones)} requests without an answer" + (
            "; the module is never heard." if never else "."
        )
        yield Seen(Confidence.HIGH, tuple(evidence(item, f"{asked(item)}: no answer") for item in open_ones), text)


def _had_time(ctx: Context, exchange: Exchange) -> bool:
    """The capture goes on for as long as an answer may take."""
    end = ctx.end_ns(exchange.capture)
    return end is None or end - exchange.end_ns > ctx.record.limits.module_silent_ns


def _answered_later(ctx: Context, story: Story, exchange: Exchange) -> bool:
    """The same was asked again and answered: a retry, or a module that was just starting."""
    return any(
        item.response is not None and same_act(item, exchange) for item in ctx.own(story) if item.begin > exchange.begin
    )
