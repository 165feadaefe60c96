"""The module fell silent at the erase.

What is seen: an erase was asked for, and the module neither answered it nor asked for time.
What it can mean: The supply may have broken down under the load of the erase; the module may have restarted itself; a
simple module may serve no bus while it erases. The memory may be empty.
How to tell it from look-alikes: an erase that was put off (code 78) and never ended; an answer that only the
recording lost; a whole bus that fell silent
What to try: leave the module powered and wait some minutes; then ask it with {wake} to its own address;
check its supply and ground under load
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the erase and what came behind it. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import asked
from analysis.checks.looking.silent_erases import silent_erases
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity


@check("silence-in-erase", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        for erase in silent_erases(ctx, story):
            behind = [item for item in ctx.own(story) if item.begin > erase.end]
            heard = next((item for item in behind if item.response is not None or item.pendings), None)
            text = f"{story.label}: {asked(erase)} was never answered" + (
                "; the module is not heard behind it." if heard is None else "; the module is heard again later."
            )
            shown = [evidence(erase, "the erase, without an answer")]
            shown += [evidence(heard, "the module is heard again")] if heard is not None else []
            shown += [evidence(item, "asked, and not answered") for item in behind[-3:] if heard is None]
            yield Seen(Confidence.HIGH, tuple(shown), text)
