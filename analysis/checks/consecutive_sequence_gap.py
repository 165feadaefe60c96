"""A message lost a frame.

What is seen: the numbers of the consecutive frames skip inside a message, and its receiver did not accept it.
What it can mean: The frame was lost on the line; or in the record, and the answer as well.
How to tell it from look-alikes: a loss of the logger alone: there the receiver answers the message as if it were
whole
What to try: judge by what the receiver answered and by the repeat; check adapter, line and termination
Caution: none
Evidence: the messages. Source: ISO 15765-2:2016, 9.6.4 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.holes import has_gap
from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import counted


@check("consecutive-sequence-gap", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for capture in ctx.record.captures:
        accepted = {id(item.request) for item in capture.exchanges if item.positive}
        torn = [one for one in capture.messages if has_gap(one) and id(one) not in accepted]
        if torn:
            shown = tuple(Evidence(capture.number, one.lines, f"{one.link.key}: {one.reason}") for one in torn)
            text = f"{capture.name}: {counted(len(torn), 'message')} with a frame missing."
            yield Seen(Confidence.HIGH, shown, text)
