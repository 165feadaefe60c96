"""The calibration verification number is not ready.

What is seen: the last calibration verification number (CVN) is 00 or FF throughout; or the module put the last request
for it off (busy, conditions not correct, or a wait without an end).
What it can mean: The module may still be working it out, which can take minutes or a drive after programming.
How to tell it from look-alikes: a number that did not change although the calibration did; a module that has none and
refuses the request as out of range
What to try: read it again after some minutes with the ignition on, and after an ignition cycle
Caution: none
Evidence: the last reading, or the last refusal. Source: SAE J1979, service 09 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.calibrations import CVN, asks_for_cvn, is_not_ready
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Exchange
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity

#: Busy, and conditions not correct: what a module says that has not finished its number. ISO 14229-1, annex A.1 (M).
PUT_OFF = frozenset({0x21, 0x22})


@check("cvn-not-ready", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        readings = [item for item in ctx.record.readings(story) if item.identifier == CVN]
        asked = [item for item in ctx.own(story) if asks_for_cvn(item)]
        if asked and _is_put_off(asked[-1]):
            said = asked[-1].refusal if asked[-1].nrc is not None else "a wait without an end"
            text = f"{story.label}: the last request for the CVN was put off: {said}."
            yield Seen(Confidence.HIGH, (evidence(asked[-1], "the CVN was asked for"),), text)
        elif readings and is_not_ready(readings[-1].raw):
            text = f"{story.label}: CVN {readings[-1].raw.hex().upper()} at the last reading."
            yield Seen(Confidence.HIGH, (evidence(readings[-1].exchange, "the last CVN"),), text)


def _is_put_off(asked: Exchange) -> bool:
    return asked.nrc in PUT_OFF or (bool(asked.pendings) and asked.response is None)
