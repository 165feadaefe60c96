"""The sender did not keep the pace that was asked for.

What is seen: flow control asked for a pause between frames, and whole messages went out in less than half of that
time.
What it can mean: The sender may not look at it, which can overrun the receiver; a gateway may bunch the frames; the
time stamps may be coarse.
How to tell it from look-alikes: a recorder with coarse stamps: then the times stand in steps; a last frame that comes
early
What to try: see whether messages were refused or lost behind it; if so, have the tester keep the pace
Caution: none
Evidence: the messages. Source: STmin, ISO 15765-2:2016, 9.6.5.4 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.timing import MS_NS
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import counted
from canlog.frames import TimeKind
from canlog.isotp.messages import Message

#: So many frames make the mean say something; half of the time asked for is no matter of stamps (our choice).
FEWEST_FRAMES = 12


@check("separation-time-ignored", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        found = [
            (capture.number, message)
            for capture in ctx.record.captures
            if capture.survey.summary.time_kind is not TimeKind.NONE and not capture.survey.summary.out_of_order
            for message in capture.messages
            if message.link.key == story.link.key and _is_hurried(message)
        ]
        if found:
            asked_ms = (found[0][1].separation_ns or 0) / MS_NS
            text = (
                f"{story.label}: {counted(len(found), 'message')} sent faster than {asked_ms:g} ms from frame to frame."
            )
            shown = tuple(Evidence(number, one.lines, _pace(one)) for number, one in found)
            yield Seen(Confidence.MEDIUM, shown, text)


def _is_hurried(message: Message) -> bool:
    """Even with the wait for flow control in it, the whole took less than half of the time asked for."""
    if not message.complete or message.n_frames < FEWEST_FRAMES or not message.separation_ns:
        return False
    taken_ns = message.end_ns - message.begin_ns
    return 0 < taken_ns < (message.n_frames - 2) * message.separation_ns // 2


def _pace(message: Message) -> str:
    taken_ms = (message.end_ns - message.begin_ns) / MS_NS
    return f"{message.n_frames} frames in {taken_ms:.1f} ms"
