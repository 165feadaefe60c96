"""The capture ends in the middle of a step.

What is seen: the last request has no final answer, or a download is not finished, and then the recording ends.
What it can mean: The recording was stopped early, or the logger lost power with the vehicle. What happened
afterwards is not known.
How to tell it from look-alikes: a tester that stopped: then frames of other ids go on behind it
What to try: look for the rest of the recording, or read the module's identification now, with the ignition left on, and
capture that
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the last frames. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import asked
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Answer, Exchange
from analysis.operations.model import Kind, evidence
from analysis.story import Story
from analysis.words import Confidence, Severity, Word
from canlog.services.traits import Act


@check("capture-ends-inside", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for capture in ctx.record.captures:
        left = [one for story in ctx.stories if (one := _left_open(ctx, story, capture.number)) is not None]
        if left:
            text = (
                f"{capture.name} ends within {'; '.join(asked(one) for one in left)}. Nobody is known to have failed."
            )
            yield Seen(Confidence.HIGH, tuple(evidence(one, "left open here") for one in left), text)


def _left_open(ctx: Context, story: Story, capture: int) -> Exchange | None:
    """The last exchange of a module, where it or its download waits and the capture ends before that is strange."""
    own = [item for item in ctx.own(story) if item.capture == capture and item.act is not Act.TESTER_PRESENT]
    end = ctx.end_ns(capture)
    if not own or end is None:
        return None
    last, limits = own[-1], ctx.record.limits
    since = end - last.end_ns
    if last.outcome in (Answer.SILENT, Answer.INCOMPLETE):
        patience = limits.p2_star_client_ns if last.pendings else limits.module_silent_ns
        return last if since < patience and not last.functional else None
    broken = [
        item
        for item in ctx.operations
        if item.kind in (Kind.DOWNLOAD, Kind.FILE, Kind.UPLOAD)
        and item.outcome.word is Word.INTERRUPTED
        and last.number in item.exchanges
    ]
    return last if broken and since < limits.tester_silent_ns else None
