"""Readings that should have proved an act and gave no value: refused, or without an answer."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from analysis.exchanges import Answer, Exchange
from analysis.readings import identifiers_asked


def last_in_vain(identifiers: Collection[int], exchanges: Iterable[Exchange]) -> Exchange | None:
    """The last request for one of these values that was refused or not answered."""
    failed = (item for item in exchanges if item.outcome in (Answer.NEGATIVE, Answer.SILENT))
    found = [item for item in failed if any(one in identifiers for one in identifiers_asked(item))]
    return found[-1] if found else None


def said_in_vain(exchange: Exchange) -> str:
    """``its reading was refused with 31 (line 7)``; what the code means stands with the exchange."""
    first = exchange.lines[0]
    if exchange.outcome is Answer.NEGATIVE:
        return f"its reading was refused with {exchange.nrc or 0:02X} (line {first})"
    return f"its reading was not answered (line {first})"
