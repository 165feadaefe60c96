"""What lacks its beginning in a capture: something of it is there, and what must come before it is not.

Source: the order of services is ISO 14229-1:2020, 10.4, 14 and 15 (M).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from analysis.exchanges import Exchange
from canlog.services.traits import ROUTINE_RESULT, Act, routine_asked

TRANSFERS = frozenset({Act.DOWNLOAD, Act.UPLOAD, Act.FILE})


TRANSFER = "a transfer"


class Cut(NamedTuple):
    """The first thing seen of an act whose beginning is not in the capture, and what act it is."""

    exchange: Exchange
    what: str

    @property
    def is_transfer(self) -> bool:
        """Blocks or the exit of a transfer that nobody is seen to ask for."""
        return self.what == TRANSFER


def cut_beginnings(exchanges: Iterable[Exchange]) -> list[Cut]:
    """Each kind once for a link, in order."""
    found: dict[tuple[str, str], Cut] = {}
    seen: set[tuple[str, object]] = set()
    for item in exchanges:
        if item.link.functional or item.functional:
            continue
        needed, what = _needs(item)
        if needed is not None and (item.link.key, needed) not in seen:
            found.setdefault((item.link.key, what), Cut(item, what))
        seen |= {(item.link.key, begun) for begun in _begins(item)}
    return list(found.values())


def _needs(item: Exchange) -> tuple[object, str]:
    """What must stand before it, and the act that both belong to."""
    if item.act in (Act.BLOCK, Act.EXIT):
        return "transfer", TRANSFER
    asked = routine_asked(item.told, item.dialect) if item.act is Act.ROUTINE else None
    if asked is not None and asked.control == ROUTINE_RESULT:
        return ("routine", asked.identifier), "a routine"
    if item.act is Act.UNLOCK and len(item.told) > 1 and not item.told[1] & 1:
        return "seed", "an unlock"
    return ("anything", "an exchange") if item.request is None else (None, "")


def _begins(item: Exchange) -> list[object]:
    """What it is the beginning of; a beginning whose request is missing is none."""
    begun: list[object] = ["anything"]
    if item.request is not None and item.act in TRANSFERS:
        begun.append("transfer")
    asked = routine_asked(item.asked, item.dialect) if item.act is Act.ROUTINE else None
    if asked is not None and asked.control != ROUTINE_RESULT:
        begun.append(("routine", asked.identifier))
    if item.act is Act.UNLOCK and len(item.asked) > 1 and item.asked[1] & 1:
        begun.append("seed")
    return begun
