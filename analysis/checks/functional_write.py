"""A write or a routine went to all modules at once.

What is seen: a request that changes something was sent to all modules of a bus.
What it can mean: It may be the maker's way for this step. It may also have reached modules that were not meant; who
does not know it keeps silent.
How to tell it from look-alikes: sessions, resets, quiet orders, fault setting and clearing, which often go to all
What to try: compare who answered with who was meant; read the value from each module
Caution: do not repeat blindly: wrong keys are counted, and each erase puts the module at risk. The vehicle maker's
service information decides.
Evidence: the requests with their answers. Source: ISO 14229-1:2020, 7.5 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import asked
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Exchange
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity
from canlog.services.traits import Act

#: What is meant for one module as a rule. Sessions, resets, quiet, fault setting and clearing to all are usual.
UNUSUAL = frozenset({Act.WRITE, Act.WRITE_MEMORY, Act.ROUTINE, Act.CONTROL, Act.DOWNLOAD, Act.BLOCK, Act.EXIT})


@check("functional-write", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    labels = {story.link.key: story.label for story in ctx.stories}
    to_all: dict[tuple[int, bytes], list[Exchange]] = {}
    for item in ctx.record.exchanges:
        if (item.functional or item.link.functional) and item.act in UNUSUAL and item.request is not None:
            to_all.setdefault((item.capture, item.asked), []).append(item)
    for items in to_all.values():
        answered = [labels.get(item.link.key, item.link.key) for item in items if item.response is not None]
        who = ", ".join(dict.fromkeys(answered)) or "nobody"
        shown = tuple(evidence(item, asked(item)) for item in items)
        yield Seen(Confidence.HIGH, shown, f"{asked(items[0])} went to all modules; it was answered by {who}.")
