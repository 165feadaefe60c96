"""Several modules are silent while another one answers.

What is seen: two or more modules that the names know were asked and never heard, and another one on the same bus
answered.
What it can mean: A gateway may not be opened for this tester; the ignition may be off for a part of the vehicle, or a
network asleep; a branch of the wiring may be down.
How to tell it from look-alikes: one module that is silent; a scan of addresses that belong to nobody
What to try: wake the network and open the gateway as the service information prescribes; ask one module behind it
with 3E 00
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the first request to each. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.behind_gateway import never_heard
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity


@check("gateway-blocks", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    silent = never_heard(ctx)
    if silent:
        names = ", ".join(story.label for story in silent)
        heard = [story for story in ctx.stories if any(item.response is not None for item in ctx.own(story))]
        shown = tuple(evidence(ctx.own(story)[0], f"{story.label}: asked, and no answer") for story in silent)
        text = f"{names}: never heard, while {heard[0].label} answers on the same bus."
        yield Seen(Confidence.MEDIUM, shown, text)
