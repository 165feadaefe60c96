"""The supply sinks, or is low.

What is seen: readings of the supply voltage sink, or the last one is low.
What it can mean: Support is missing or weak; fans, lights or pumps are on; an old battery.
How to tell it from look-alikes: a bad ground of one module: then readings of another module do not sink
What to try: connect a support unit fit for programming before any new attempt; stop at the next safe point, not in
the middle of an erase or a download
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides. Do not start the engine to charge.
Evidence: the readings. Source: common practice, no source; the reading F442 is parameter 42 of SAE J1979 (M).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import accumulate

from analysis.checks.registry import Context, Seen, check
from analysis.motion import engine_stood
from analysis.supply import SupplyReading, supply_readings
from analysis.words import Confidence, Severity

#: A fall of so much within a job is one under load, in a 12 V system; twice as much in a 24 V one.
DEEP_FALL_MV = 1_000


@check("voltage-falls", severity=Severity.SERIOUS, comes_first=True)
def find(ctx: Context) -> Iterator[Seen]:
    readings = supply_readings(ctx.record)
    if not readings:
        return
    limits = ctx.record.limits
    is_24v = max(one.millivolts for one in readings) > limits.supply_24v_from_mv
    low = limits.supply_low_24v_mv if is_24v else limits.supply_low_12v_mv
    sinking = [own for own in _by_module(readings) if _sinks(own, low, limits.supply_fall_mv, 1 + is_24v)]
    if not sinking:
        return
    worst = min(sinking, key=lambda own: own[-1].millivolts)
    recovered = all(own[-1].millivolts >= low for own in sinking)
    idle = not any(item.part is not None for item in ctx.operations)
    stood = engine_stood(ctx.record, readings[0].place, readings[-1].place)
    alone = " The engine stood meanwhile: battery and support unit carried the supply alone." if stood else ""
    series = ", ".join(f"{one.volts:.1f} V ({one.label})" for one in readings[:8])
    yield Seen(
        Confidence.HIGH if len(sinking) > 1 else Confidence.MEDIUM,
        (*([stood] if stood else []), *(one.evidence for one in readings)),
        f"Supply read: {series}. Lowest at the end: {worst[-1].volts:.1f} V at {worst[-1].label}, in a system of "
        f"{24 if is_24v else 12} V.{alone}",
        severity=Severity.NOTE if idle else Severity.WARNING if recovered else None,
    )


def _by_module(readings: list[SupplyReading]) -> list[list[SupplyReading]]:
    """The readings of each module, in order."""
    keys = dict.fromkeys(one.source for one in readings)
    return [[one for one in readings if one.source == key] for key in keys]


def _sinks(own: list[SupplyReading], low: int, fall: int, scale: int) -> bool:
    """The last is low, or they fell deep, or they fell to below what is low."""
    values = [one.millivolts for one in own]
    deepest = max(highest - value for highest, value in zip(accumulate(values, max), values, strict=True))
    return values[-1] < low or deepest > DEEP_FALL_MV * scale or (deepest > fall and min(values) < low)
