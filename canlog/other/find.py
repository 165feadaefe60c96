"""All recognisers over all channels of a capture."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from canlog.background import BackgroundTable
from canlog.other import calibration, canopen, j1939
from canlog.other.traffic import Bus, OtherTraffic

RECOGNISERS: Final[tuple[Callable[[Bus], list[OtherTraffic]], ...]] = (
    j1939.recognise, canopen.recognise, calibration.recognise_xcp, calibration.recognise_ccp,
)  # fmt: skip


def find_other_traffic(table: BackgroundTable) -> list[OtherTraffic]:
    """Every protocol recognised, channel after channel."""
    channels = dict.fromkeys(each.channel for each in table.traffic)
    buses = [Bus(table, channel) for channel in channels]
    return [found for bus in buses for recognise in RECOGNISERS for found in recognise(bus)]
