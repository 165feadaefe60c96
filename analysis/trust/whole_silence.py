"""When no id at all was heard in a capture."""

from __future__ import annotations

from analysis.limits import SECOND_NS
from canlog.background import GAP_PERIODS, SHORTEST_GAP_NS, BackgroundTable, Gap, IdTraffic

#: A silence of all ids is one of the busiest as well: of so many, as some may not come back.
BUSIEST = 5
#: Shorter ones are pauses between two frames.
SHORTEST_NS = SECOND_NS


def whole_silences(background: BackgroundTable) -> list[Gap]:
    """Stretches in which no frame of any id stands, with frames before and behind, in order of time."""
    busiest = sorted(background.traffic, key=lambda each: -each.frames)[:BUSIEST]
    candidates = {gap for each in busiest for gap in each.gaps if gap.length_ns >= SHORTEST_NS}
    found = {silent for gap in candidates if (silent := _narrowed(background, gap)) is not None}
    return sorted(gap for gap in found if gap.length_ns >= SHORTEST_NS)


def _narrowed(background: BackgroundTable, gap: Gap) -> Gap | None:
    """The part of a gap in which all other ids are silent as well; None when one of them speaks inside."""
    silences = [_silence_of(each, gap) for each in background.traffic]
    known = [one for one in silences if one is not None]
    if len(known) < len(silences):
        return None
    begin, end = max(known, key=lambda one: one.from_ns), min(known, key=lambda one: one.to_ns)
    return Gap(begin.from_ns, end.to_ns, begin.from_line, end.to_line) if begin.from_ns < end.to_ns else None


def _silence_of(each: IdTraffic, gap: Gap) -> Gap | None:
    """When one id was silent within a gap of another; None when it never was."""
    if each.last_ns < gap.to_ns:
        return Gap(each.last_ns, gap.to_ns, each.last_line, gap.to_line)
    if each.first_ns > gap.from_ns:
        return Gap(gap.from_ns, each.first_ns, gap.from_line, each.first_line)
    own = max(each.gaps, key=lambda one: _overlap(one, gap), default=None)
    if own is not None and _overlap(own, gap) > 0:
        return own
    return None if _speaks(each, gap) else gap


def _overlap(one: Gap, other: Gap) -> int:
    return min(one.to_ns, other.to_ns) - max(one.from_ns, other.from_ns)


def _speaks(each: IdTraffic, gap: Gap) -> bool:
    """An id that lists no gap here was heard: a fast one for sure, a slow one if in a whole second inside."""
    if each.period_ns is not None and gap.length_ns > max(SHORTEST_GAP_NS, GAP_PERIODS * each.period_ns):
        return True
    inside = (each.seconds * SECOND_NS > gap.from_ns) & ((each.seconds + 1) * SECOND_NS < gap.to_ns)
    return bool(inside.any())
