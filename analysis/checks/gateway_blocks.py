"""A gateway stands between the tester and modules.

What is seen: two or more modules that the names know were asked and never heard, and another one on the same bus
answered; or the module that names call the gateway refused, at its own id, what another one was asked.
What it can mean: A gateway may not be opened for this tester; the ignition may be off for a part of the vehicle, or a
network asleep; a branch of the wiring may be down.
How to tell it from look-alikes: one module that is silent; a gateway that refuses what it was asked itself; a scan of
addresses that belong to nobody
What to try: wake the network and open the gateway as the service information prescribes; ask one module behind it
with {alive}
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the first request to each, or the refusals. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.behind_gateway import never_heard, refused_for_others
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
    for gateway, pairs in refused_for_others(ctx):
        shown = tuple(evidence(refusal, f"refused, {refusal.refusal}") for _, refusal in pairs)
        labels = {story.link.key: story.label for story in ctx.stories}
        others = ", ".join(dict.fromkeys(labels.get(asked.link.key, asked.link.key) for asked, _ in pairs))
        text = f"{gateway.label} refused what {others} was asked: {pairs[0][1].refusal}."
        yield Seen(Confidence.MEDIUM, shown, text)
