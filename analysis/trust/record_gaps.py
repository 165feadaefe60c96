"""Stretches without any frame that cannot have been on the bus: the recorder paused, or its clock was set forward.

Nothing at all was heard, and what was open in front of the stretch went on behind it. That is enough where the stretch
is longer than a session, an answer or a message may last. A shorter one could be the tester's own pause on a quiet bus;
so a cyclic id has to be heard right up to it and again right behind it, and never to pause so long elsewhere.
Source: S3 5 s, ISO 14229-2 (M); N_Cr and N_Bs 1 s, ISO 15765-2 (M); cyclic ids: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.exchanges import Exchange
from analysis.limits import SECOND_NS
from canlog.background import BackgroundTable, Gap, IdTraffic
from canlog.counting import lasting
from canlog.services.traits import TRANSFERRING, Act

#: Twice the time that a session outlives the last request: no module waits so long.
SURELY_NS = 10 * SECOND_NS
#: A cyclic id is heard once a period: on both sides of a silence together this late at most.
ALIVE_PERIODS = 2


def record_gaps(silences: Sequence[Gap], background: BackgroundTable, exchanges: Sequence[Exchange]) -> list[Gap]:
    """Those of the whole silences of one capture, in order of time.

    A message is given up after a second's pause: a silence that is shorter may lie in one, and none is among them.
    """
    if not silences:
        return []
    links: dict[str, list[Exchange]] = {}
    for item in exchanges:
        if not item.functional and not item.link.functional:
            links.setdefault(item.link.key, []).append(item)
    spoken_on = _spoken_on(exchanges)
    cyclic = [one for one in background.traffic if (one.channel, one.can_id) not in spoken_on]
    open_in = [gap for gap in silences if any(_went_on(gap, own) for own in links.values())]
    return [gap for gap in open_in if gap.length_ns >= SURELY_NS or any(_is_cut(one, gap, open_in) for one in cyclic)]


def _spoken_on(exchanges: Sequence[Exchange]) -> set[tuple[str, int | None]]:
    """Channel and id of all that testers and modules said: their pauses are not those of a cyclic message."""
    links = {item.link for item in exchanges}
    return {(link.channel, can_id) for link in links for can_id in (link.request_id, link.response_id)}


def _is_cut(one: IdTraffic, gap: Gap, silences: Sequence[Gap]) -> bool:
    """A cyclic id was alive on both sides of a silence, and is half as long silent only in others of the kind."""
    if one.period_ns is None:
        return False
    own = next((item for item in one.gaps if _holds(item, gap)), None)
    if own is None or own.length_ns - gap.length_ns > ALIVE_PERIODS * one.period_ns:
        return False
    others = (item for item in one.gaps if not any(_holds(item, silence) for silence in silences))
    return all(2 * item.length_ns < gap.length_ns for item in others)


def _holds(own: Gap, silence: Gap) -> bool:
    return own.from_ns <= silence.from_ns and silence.to_ns <= own.to_ns


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
