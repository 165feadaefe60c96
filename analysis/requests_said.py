"""Requests as advice names them: each in the dialect of the module that it is about.

A text has ``{alive}``, ``{wake}``, ``{faults}``, ``{result}``, ``{messages}`` or ``{storing}`` where a request stands.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from analysis.record import Record
from analysis.words import Evidence
from canlog.services.dialects import GMW, KWP, UDS
from canlog.services.traits import DialectTraits, traits_of

#: Where a dialect has no such request.
NONE = "as the service information says"


def requests_of(*dialects: str) -> Mapping[str, str]:
    """The text for each place; all of them where modules of several dialects are meant."""
    every = [_of(traits_of(dialect)) for dialect in dialects]
    return {place: " or ".join(dict.fromkeys(said[place] for said in every)) for place in every[0]}


def _of(traits: DialectTraits) -> dict[str, str]:
    return {
        "alive": _said(*traits.asks_silent[:1]),
        "wake": _said(*traits.asks_silent),
        "faults": _said(traits.lists_faults),
        "result": _said(traits.routine_results),
        "messages": _said(traits.allows_messages),
        "storing": _said(traits.stores_faults),
    }


def _said(*requests: bytes) -> str:
    return " and ".join(request.hex(" ").upper() for request in requests if request) or NONE


#: For a text that is about no module, as in the manual of the findings.
IN_EACH_DIALECT: Final = {
    place: f"{said}, KWP2000 {requests_of(KWP)[place]}, GMW3110 {requests_of(GMW)[place]}"
    for place, said in requests_of(UDS).items()
}


def dialects_of(shown: Iterable[Evidence], record: Record) -> list[str]:
    """What the modules speak whose exchanges are shown; where none is, what all of the recording speak."""
    seen = (record.exchange_at((item.capture, item.lines[0])) for item in shown)
    found = [item.dialect for item in seen if item is not None] or [story.dialect for story in record.stories]
    return list(dict.fromkeys(found)) or [UDS]
