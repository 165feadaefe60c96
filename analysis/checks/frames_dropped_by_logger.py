"""The logger lost frames.

What is seen: the recording itself notes a loss, or a message has a hole and its receiver was content all the same.
What it can mean: The logger could not keep up. The job may be sound; the record is not whole.
How to tell it from look-alikes: frames lost on the line: there the receiver does not accept the message
What to try: record again with a filter on the diagnostic ids, or with a faster logger, where a word is not
confirmed
Caution: none
Evidence: the notes of the logger, the messages with a hole. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.holes import has_gap
from analysis.checks.looking.refusals import asked
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Exchange
from analysis.operations.model import evidence
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import counted


@check("frames-dropped-by-logger", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for capture in ctx.record.captures:
        drops = [Evidence(capture.number, (drop.line,), drop.text) for drop in capture.survey.summary.drops]
        holes = [item for item in capture.exchanges if _was_content(item)]
        shown = [evidence(item, f"{asked(item)}: a hole in the record, accepted all the same") for item in holes]
        if drops or shown:
            holed = counted(len(shown), "message")
            text = f"{capture.name}: {counted(len(drops), 'note')} of loss, {holed} accepted with a hole."
            yield Seen(Confidence.HIGH, (*drops, *shown), text)


def _was_content(exchange: Exchange) -> bool:
    """The request has a hole and was answered positively."""
    return exchange.positive and exchange.request is not None and has_gap(exchange.request)
