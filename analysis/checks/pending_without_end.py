"""The module asked to wait and never came to an end.

What is seen: after the last wait answer (code 78) no final answer came, and the capture goes on for longer than
such an answer may take.
What it can mean: The module hung or restarted; its supply; the final answer is missing in the record.
How to tell it from look-alikes: a capture that ends while the wait runs; a tester that asks again too early and
then gets its answer
What to try: leave the module powered and wait some minutes; then ask it with {alive} before anything else
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the request with its wait answers. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.checks.looking.refusals import act_of, asked, last_of_acts
from analysis.checks.looking.whole_bus import cut_by_silence
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Answer, Exchange
from analysis.operations.model import evidence
from analysis.story import Story
from analysis.words import Confidence, Severity
from canlog.counting import counted


@check("pending-without-end", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    cut = {one.number for one, _ in cut_by_silence(ctx)}
    cut |= {step.exchange.number for step in ctx.record.missing_steps}  # it ended: what comes behind was accepted
    for story in ctx.stories:
        own = ctx.own(story)
        accepted = last_of_acts(item for item in own if item.positive)
        left = [item for item in own if _is_put_off(ctx, item) and item.number not in cut]
        for exchange in left:
            if exchange.functional:
                continue
            done = accepted.get(act_of(exchange), exchange.begin) > exchange.begin
            often = counted(len(exchange.pendings), "time")
            text = f"{story.label}: {asked(exchange)} was put off {often} and never answered."
            yield Seen(
                Confidence.HIGH,
                (evidence(exchange, "the request and its wait answers"),),
                text + (" The same was answered later." if done else ""),
                severity=Severity.NOTE if done else None,
            )
        yield from _asked_with_all_others(story, [item for item in left if item.functional])


def _is_put_off(ctx: Context, exchange: Exchange) -> bool:
    """It has wait answers and no final one, and the capture goes on for as long as that may take."""
    if exchange.outcome is not Answer.SILENT or not exchange.pendings:
        return False
    end = ctx.end_ns(exchange.capture)
    return end is None or end - exchange.end_ns > ctx.record.limits.p2_star_client_ns


def _asked_with_all_others(story: Story, left: Sequence[Exchange]) -> Iterator[Seen]:
    """Requests to all: one note for a module, because the tester goes on with whoever answers first."""
    if left:
        text = f"{story.label}: {counted(len(left), 'request')} to all modules put off and never answered."
        shown = tuple(evidence(item, f"{asked(item)}: the request and its wait answers") for item in left)
        yield Seen(Confidence.HIGH, shown, text, severity=Severity.NOTE)
