"""The bus as a whole: when no id at all was heard; no check itself."""

from __future__ import annotations

from collections.abc import Iterator

from canlog.background import BackgroundTable, Gap


def whole_silences(background: BackgroundTable, shortest_ns: int) -> Iterator[Gap]:
    """Stretches in which no frame of any id stands, with frames before and behind.

    Found from the gaps of single ids, so it needs an id with frames on both sides; ids that only speak before or
    only behind it bound it.
    """
    candidates = sorted({(gap.from_ns, gap.to_ns): gap for each in background.traffic for gap in each.gaps}.values())
    last: Gap | None = None
    for gap in candidates:
        if last is not None and gap.from_ns < last.to_ns:
            continue
        silent = _narrowed(background, gap)
        if silent is not None and silent.length_ns >= shortest_ns:
            last = silent
            yield silent


def _narrowed(background: BackgroundTable, gap: Gap) -> Gap | None:
    """The part of a gap in which all other ids are silent as well; None when one of them speaks inside."""
    begin, begin_line, end, end_line = gap.from_ns, gap.from_line, gap.to_ns, gap.to_line
    for each in background.traffic:
        if each.last_ns < gap.to_ns:
            if each.last_ns > begin:
                begin, begin_line = each.last_ns, each.last_line
            continue
        if each.first_ns > gap.from_ns:
            if each.first_ns < end:
                end, end_line = each.first_ns, each.first_line
            continue
        own = next((one for one in each.gaps if one.from_ns < gap.to_ns and one.to_ns > gap.from_ns), None)
        if own is None:
            return None
        if own.from_ns > begin:
            begin, begin_line = own.from_ns, own.from_line
        if own.to_ns < end:
            end, end_line = own.to_ns, own.to_line
    return Gap(begin, end, begin_line, end_line) if begin < end else None
