"""Only requests or only answers were recorded.

What is seen: a link holds messages of one direction and none of the other, though the other must have been there.
What it can mean: A filter of the logger; the tester's own log; a gateway that sends the answers elsewhere.
How to tell it from look-alikes: a module that is off: then long requests are never finished, because nobody lets
them go on
What to try: capture again without a filter, at a place where both directions pass
Caution: do not program or write again on the strength of half a recording: each try erases, and wrong keys are counted.
Evidence: the first messages of each link. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Evidence, Severity
from canlog.isotp.addressing import Direction


@check("one-direction-only", severity=Severity.SERIOUS, comes_first=True)
def find(ctx: Context) -> Iterator[Seen]:
    for item in ctx.record.captures:
        for way, what in ((Direction.REQUEST, "requests"), (Direction.RESPONSE, "answers")):
            stories = [one for one in ctx.stories if ctx.record.one_way.get((item.number, one.link.key)) is way]
            firsts = [next(iter(item.messages.of(story.link)), None) for story in stories]
            shown = [Evidence(item.number, first.lines, f"the first of the {what}") for first in firsts if first]
            if shown:
                names = ", ".join(story.label for story in stories)
                text = f"{names}: only {what} are in {item.name}, and nothing of the other direction."
                yield Seen(Confidence.HIGH, tuple(shown), text)
