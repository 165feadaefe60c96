"""The capture begins in the middle of a step.

What is seen: the first thing said to or by a module is the middle of a message, an answer without its request, or a
block of a transfer.
What it can mean: The recording was started too late, or it was cut into two files and this is the second: from this
file alone only what follows can be proved.
How to tell it from look-alikes: a record that kept one direction only; a transfer whose beginning is in the capture
before
What to try: give the file before it as well, if there is one, and start the recording before the tester is connected,
next time; read the identification now to show the state
Caution: none
Evidence: the first frames. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import asked
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.operations.seams import beginnings_elsewhere
from analysis.trust.late_start import Cut, cut_beginnings
from analysis.words import Confidence, Evidence, Severity


@check("capture-starts-inside", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    elsewhere = beginnings_elsewhere(ctx.record)
    for capture in ctx.record.captures:
        found = [
            Evidence(capture.number, message.lines, "the middle of a message")
            for message in capture.messages
            if message.reason == "starts-inside"
        ]
        one_way = {key for number, key in ctx.record.one_way if number == capture.number}
        for cut in cut_beginnings(item for item in capture.exchanges if item.link.key not in one_way):
            if cut.exchange.number not in elsewhere:
                found.append(evidence(cut.exchange, _said(cut)))
        if found:
            yield Seen(Confidence.HIGH, tuple(found), f"{capture.name} begins inside: {found[0].text}.")


def _said(cut: Cut) -> str:
    if cut.exchange.request is None:
        return f"an answer whose request is not in the capture ({asked(cut.exchange)})"
    return f"{asked(cut.exchange)}, and the beginning of {cut.what} is not in the capture"
