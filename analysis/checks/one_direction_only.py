"""Only requests or only answers were recorded.

What is seen: a link holds messages of one direction and none of the other, though the other must have been there.
What it can mean: A filter of the logger; the tester's own log; a gateway that sends the answers elsewhere.
How to tell it from look-alikes: a module that is off: then long requests are never finished, because nobody lets
them go on
What to try: capture again without a filter, at a place where both directions pass
Caution: none
Evidence: the first messages of the link. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.silent_links import one_sided
from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Evidence, Severity
from canlog.isotp.addressing import Direction


@check("one-direction-only", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for link in one_sided(ctx):
        for item in ctx.record.captures:
            told = list(item.messages.of(link))
            if told:
                what = "requests" if told[0].direction is Direction.REQUEST else "answers"
                text = f"{link.key}: {len(told)} {what}, and nothing of the other direction."
                yield Seen(Confidence.HIGH, (Evidence(item.number, told[0].lines, f"the first of the {what}"),), text)
                break
