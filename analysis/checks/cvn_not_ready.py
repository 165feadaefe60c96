"""The calibration verification number is not ready.

What is seen: the last calibration verification number (CVN) is 00 or FF throughout.
What it can mean: The module may still be working it out, which can take minutes or a drive after programming.
How to tell it from look-alikes: a number that did not change although the calibration did
What to try: read it again after some minutes with the ignition on, and after an ignition cycle
Caution: none
Evidence: the last reading. Source: SAE J1979, service 09 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.calibrations import CVN, is_not_ready
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity


@check("cvn-not-ready", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        readings = [item for item in ctx.record.readings(story) if item.identifier == CVN]
        if readings and is_not_ready(readings[-1].raw):
            text = f"{story.label}: CVN {readings[-1].raw.hex().upper()} at the last reading."
            yield Seen(Confidence.HIGH, (evidence(readings[-1].exchange, "the last CVN"),), text)
