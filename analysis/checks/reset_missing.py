"""The module was not restarted after programming.

What is seen: the last download ended, and behind it there is no reset, no start of the module and no return to the
default session, though the capture goes on.
What it can mean: The technician cycles the ignition instead; or the module was left in its programming session.
How to tell it from look-alikes: a capture that stops too early to show it
What to try: restart the module as the service information asks, then read its identification and capture it
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the last transfer exit. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import ended_by, parts
from analysis.checks.registry import Context, Seen, check
from analysis.limits import SECOND_NS
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity, Word
from canlog.counting import lasting
from canlog.services.traits import Act

#: So long behind the last exit a restart is due.
DUE_NS = 10 * SECOND_NS


@check("reset-missing", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        done = [item for item in parts(ctx, story) if item.details["ended"]]
        if not done or any(item.outcome.word is Word.FAILED for item in done):
            continue
        last = max((ended_by(ctx, story, item) for item in done), key=lambda one: one.end)
        end = ctx.end_ns(last.capture)
        later = [item for item in story.exchanges if item.begin > last.end]
        restarted = story.start_after(last.end) is not None or any(
            item.act in (Act.SESSION, Act.RESET) for item in later
        )
        if restarted or end is None or end - last.end_ns < DUE_NS:
            continue
        shown = (evidence(last, "the last part ends here"),)
        yield Seen(Confidence.HIGH, shown, f"{story.label}: no restart for {lasting(end - last.end_ns)}.")
