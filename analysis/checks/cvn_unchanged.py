"""The calibration is another one, its verification number is not.

What is seen: behind the download the calibration identification has changed, and the calibration verification number
(CVN) has not.
What it can mean: The module may not have worked it out again yet, which can take minutes or a drive; the
identification may have been written apart from the calibration.
How to tell it from look-alikes: the same calibration again: then neither changes
What to try: read both again after an ignition cycle and some minutes, and capture it
Caution: none
Evidence: the readings. Source: SAE J1979, service 09 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.calibrations import CALIBRATION, CVN, is_not_ready, last_around
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity


@check("cvn-unchanged", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        name, number = last_around(ctx, story, CALIBRATION), last_around(ctx, story, CVN)
        if name is None or number is None or name.before.raw == name.after.raw:
            continue
        if number.before.raw == number.after.raw and not is_not_ready(number.after.raw):
            cvn = number.after.raw.hex().upper()
            text = f"{story.label}: another calibration identification, and CVN {cvn} as before."
            shown = (
                evidence(name.after.exchange, "the new calibration identification"),
                evidence(number.before.exchange, "the CVN before"),
                evidence(number.after.exchange, "the CVN behind it"),
            )
            yield Seen(Confidence.MEDIUM, shown, text)
