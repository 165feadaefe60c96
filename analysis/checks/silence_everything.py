"""Everything fell silent at once.

What is seen: in the middle of a step every id stopped together, and frames came back later.
What it can mean: The supply or the ignition was lost; the logger's cable moved; a short on the line.
How to tell it from look-alikes: a capture that ends there: nothing follows; an ignition cycle that belongs to the
procedure: then no step was left open; messages stopped by request: then the tester goes on
What to try: measure supply and fuses before any new attempt; look at the first frames after the gap: modules that
start one after the other speak for the supply
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the last line before and the first line after the silence. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.refusals import asked
from analysis.checks.registry import Context, Seen, check
from analysis.checks.whole_bus import whole_silences
from analysis.exchanges import Answer
from analysis.limits import SECOND_NS
from analysis.operations.model import evidence
from analysis.words import Confidence, Evidence, Severity

#: A silence of the whole bus is shorter than this only between two frames.
WHOLE_SILENCE_NS = 1 * SECOND_NS


@check("silence-everything", severity=Severity.SERIOUS, comes_first=True)
def find(ctx: Context) -> Iterator[Seen]:
    for item in ctx.record.captures:
        for gap in whole_silences(item.survey.background, WHOLE_SILENCE_NS):
            left = [
                exchange
                for exchange in item.exchanges
                if exchange.outcome in (Answer.SILENT, Answer.INCOMPLETE)
                and 0 <= gap.from_ns - exchange.begin_ns < ctx.record.limits.p2_star_client_ns
            ]
            if not left:
                continue
            seconds = (gap.to_ns - gap.from_ns) / SECOND_NS
            text = f"Every id is silent for {seconds:.1f} s, in the middle of {asked(left[-1])}."
            shown = (Evidence(item.number, (gap.from_line, gap.to_line), "the last frame before and the first after"),)
            yield Seen(Confidence.MEDIUM, (*shown, evidence(left[-1], "the step left open")), text)
