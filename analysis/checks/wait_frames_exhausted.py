"""The receiver of a message only said wait.

What is seen: flow control said wait, perhaps several times, and never went on; the sender stopped.
What it can mean: The receiver may be blocked, as a module that writes its memory; the sender's limit of waits may be
small.
How to tell it from look-alikes: a receiver that fell silent after the first frame: it sends no flow control at all;
one that has no room says overflow
What to try: count the waits and compare them with a session that went well; shorter blocks or a longer limit may help
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the messages. Source: N_WFTmax, ISO 15765-2:2016, 9.7 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.broken_messages import ONLY_WAITS, broken, see_broken
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity


@check("wait-frames-exhausted", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_broken(ctx, broken(ctx, {ONLY_WAITS}), "given up, because flow control only ever said wait")
