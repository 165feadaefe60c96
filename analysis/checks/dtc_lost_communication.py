"""Other modules report a module that they missed.

What is seen: the last fault list of a module holds a lost-communication code (U01xx).
What it can mean: Normal while a module was programmed or off: it stays until it is cleared. If it comes back after
clearing, the module does not talk.
How to tell it from look-alikes: communication that was stopped by request and never allowed again
What to try: clear the faults once all modules run, cycle the ignition and read again
Caution: none
Evidence: the fault lists. Source: SAE J2012 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.fault_lists import fault_lists, last_lists
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity

#: U0100-U01FF as the first two bytes of a code.
LOST_COMMUNICATION = range(0xC100, 0xC200)
#: Status bits that say that the test failed at some time (0, 1, 2, 3, 5).
HISTORY = 0x2F


@check("dtc-lost-communication", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    told = []
    for story in ctx.stories:
        for last, left in last_lists(fault_lists(story)):
            codes = [code for code in left if code >> 8 in LOST_COMMUNICATION and last.shows(code, HISTORY)]
            told += [(story, last, code) for code in codes]
    if told:
        text = "; ".join(
            f"{story.label}: {last.called(code, story.label, ctx.record.names)}" for story, last, code in told
        )
        shown = tuple(dict.fromkeys(evidence(last.exchange, f"{story.label} lists it") for story, last, _ in told))
        yield Seen(Confidence.HIGH, shown, f"{text}.")
