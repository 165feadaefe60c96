"""The capture begins in the middle of a step.

What is seen: the first thing said to or by a module is the middle of a message, an answer without its request, or a
block of a transfer.
What it can mean: The recording was started too late: only what follows can be proved.
How to tell it from look-alikes: a record that kept one direction only
What to try: start the recording before the tester is connected, next time; read the identification now to show the
state
Caution: none
Evidence: the first frames. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import asked
from analysis.checks.looking.silent_links import one_sided
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Evidence, Severity
from canlog.services.traits import Act

#: Services that only follow others: blocks, the end of a transfer.
FOLLOWERS = (Act.BLOCK, Act.EXIT)


@check("capture-starts-inside", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    one_way = {link.key for link in one_sided(ctx)}
    for capture in ctx.record.captures:
        found = [
            Evidence(capture.number, message.lines, "the middle of a message")
            for message in capture.messages
            if message.reason == "starts-inside"
        ]
        for story in ctx.stories:
            first = next((item for item in ctx.own(story) if item.capture == capture.number), None)
            if first is None or story.link.key in one_way:
                continue
            if first.request is None:
                found.append(evidence(first, "an answer whose request is not in the capture"))
            elif first.act in FOLLOWERS:
                found.append(evidence(first, f"{asked(first)} without what must come before it"))
        if found:
            yield Seen(Confidence.HIGH, tuple(found), f"{capture.name} begins inside: {found[0].text}.")
