"""Calibration identification and verification number, as the standards number them, around a download."""

from __future__ import annotations

from typing import Final, NamedTuple

from analysis.checks.looking.transfers import programmed
from analysis.checks.registry import Context
from analysis.exchanges import Exchange
from analysis.readings import OBD_CVN, Reading
from analysis.story import Story
from canlog.services.traits import identifier_asked

#: Service 09, infotypes 04 and 06, or 22 with F804 and F806 (SAE J1979-2 (M)).
CALIBRATION: Final = 0xF804
CVN: Final = OBD_CVN


class Around(NamedTuple):
    """The last reading in front of the first download, and the last one behind the restart."""

    before: Reading
    after: Reading


def last_around(ctx: Context, story: Story, identifier: int) -> Around | None:
    """None where one of the two is not in the captures."""
    around = programmed(ctx, story)
    if around is None:
        return None
    same = [item for item in ctx.record.readings(story) if item.identifier == identifier]
    before = [item for item in same if item.place < around.begin]
    after = [item for item in same if item.place > around.restart]
    return Around(before[-1], after[-1]) if before and after else None


def is_not_ready(raw: bytes) -> bool:
    """A number of 00 or FF throughout is none."""
    return bool(raw) and (not raw.strip(b"\x00") or not raw.strip(b"\xff"))


def asks_for_cvn(exchange: Exchange) -> bool:
    """A request for the verification number, with 22 F806 or service 09, infotype 06."""
    asked = exchange.asked
    return asked[:2] == b"\x09\x06" or identifier_asked(asked, exchange.dialect) == CVN
