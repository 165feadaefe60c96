"""Stretches without any frame that cannot have been on the bus: the recorder paused, or its clock was set forward.

Nothing at all was heard for longer than a session, an answer or a message may last, and what was open in front of the
stretch went on behind it. Source: S3 5 s, ISO 14229-2 (M); N_Cr and N_Bs 1 s, ISO 15765-2 (M).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.exchanges import Exchange
from analysis.limits import SECOND_NS
from analysis.trust.whole_silence import whole_silences
from canlog.background import BackgroundTable, Gap
from canlog.counting import lasting
from canlog.services.traits import TRANSFERRING, Act

#: Twice the time that a session outlives the last request: no module waits so long.
SURELY_NS = 10 * SECOND_NS


def record_gaps(background: BackgroundTable, exchanges: Sequence[Exchange]) -> list[Gap]:
    """Those of one capture, in order of time."""
    silences = whole_silences(background, SURELY_NS)
    if not silences:
        return []
    links: dict[str, list[Exchange]] = {}
    for item in exchanges:
        if not item.functional and not item.link.functional:
            links.setdefault(item.link.key, []).append(item)
    return [gap for gap in silences if any(_went_on(gap, own) for own in links.values())]


def said_of_gap(gap: Gap) -> str:
    """For people."""
    return (
        f"no frame for {lasting(gap.length_ns)} in the middle of a step (lines {gap.from_line}-{gap.to_line}): the "
        "recorder paused, or its clock was set"
    )


def _went_on(gap: Gap, own: Sequence[Exchange]) -> bool:
    """A link in the middle of something is still in the middle of it behind the gap."""
    if any(_spans(gap, item) for item in own):
        return True
    before = [item for item in own if item.end[1] <= gap.from_line]
    return bool(before) and _survived(before[-1], (item for item in own if item.begin[1] >= gap.to_line))


def _spans(gap: Gap, item: Exchange) -> bool:
    """The gap is inside a message that is whole, or between a request and its answer where no wait was asked for."""
    if any(one.complete and one.first_line <= gap.from_line < one.last_line for one in item.messages):
        return True
    first, last = item.lines
    return item.positive and not item.pendings and first <= gap.from_line < last


def _survived(before: Exchange, behind: Iterator[Exchange]) -> bool:
    """The next step behind it is accepted although it needs a session, and none was opened."""
    if before.act is Act.RESET:
        return False
    step = next((item for item in behind if item.act is not Act.TESTER_PRESENT), None)
    # refused outside the session in which they were allowed
    return step is not None and step.act in TRANSFERRING and step.positive
