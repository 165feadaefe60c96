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

from analysis.breaks.silence import Silent
from analysis.checks.looking.company import in_company
from analysis.checks.looking.refusals import asked
from analysis.checks.looking.silent_links import fell_silent
from analysis.checks.looking.whole_bus import cut_by_silence
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Answer
from analysis.operations.model import evidence
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import lasting


@check("silence-everything", severity=Severity.SERIOUS, comes_first=True)
def find(ctx: Context) -> Iterator[Seen]:
    alone = {one.link.key for company in in_company(ctx, Silent.ALL_BUT_TESTER) for one in company.stories}
    last = {(one.capture, gap): one for one, gap in cut_by_silence(ctx) if one.link.key not in alone}
    for (capture, gap), one in last.items():
        text = f"Every id is silent for {lasting(gap.length_ns)}, in the middle of {asked(one)}."
        places = Evidence(capture, (gap.from_line, gap.to_line), "the last frame before, the first behind")
        yield Seen(Confidence.MEDIUM, (places, evidence(one, "the step left open")), text)
    told = {one.number for one, _ in cut_by_silence(ctx)}
    for story in fell_silent(ctx, Silent.EVERYTHING):
        one = ctx.own(story)[-1]
        if one.number not in told and one.outcome in (Answer.SILENT, Answer.INCOMPLETE):
            text = (
                f"Every id of the channel stops in the middle of {asked(one)} to {story.label}; the recording goes on."
            )
            yield Seen(Confidence.MEDIUM, (evidence(one, "the step left open"),), text)
