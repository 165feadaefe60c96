"""The tester fell silent first.

What is seen: the tester stopped in the middle of a step while the bus went on; the module was still ready.
What it can mean: The program stopped, the laptop slept, the adapter was unplugged, somebody cancelled, or the link
to a server broke.
How to tell it from look-alikes: a capture that ends there: then nothing of the other ids follows either
What to try: start the sequence again from the session, with sleep switched off and the adapter fixed; leave the
module powered until then
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the last exchange and how it was left. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.breaks.silence import Silent
from analysis.checks.looking.silent_links import fell_silent
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity
from canlog.counting import lasting


@check("silence-tester-first", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in fell_silent(ctx, Silent.TESTER):
        last = ctx.own(story)[-1]
        end = ctx.end_ns(last.capture)
        rest = "" if end is None else f" The bus goes on for {lasting(end - last.end_ns)}."
        text = f"The tester sent nothing more to {story.label} in the middle of a step.{rest}"
        yield Seen(Confidence.HIGH, (evidence(last, "the last frames of the tester to this module"),), text)
