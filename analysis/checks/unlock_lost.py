"""The module was unlocked, and is locked again.

What is seen: access was granted; then a restart, a change of session or a pause; then a step was refused for good with
code 33.
What it can mean: A change of session locks again, and so does a session that ran out; the module may have restarted by
itself; a second tester may have changed the session.
How to tell it from look-alikes: a module that was never unlocked, or at another level: then nothing stands in between
What to try: find what restarted the module or held the tester up, the supply first; then ask for the session, unlock
and do the step without a pause
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the access granted and the refusals. Source: ISO 14229-1:2020, 10.4 (M).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from analysis.checks.looking.access import locked_refusals
from analysis.checks.looking.refusals import sighting
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Severity


@check("unlock-lost", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        lost = [(item, granted, end) for item, granted, end in locked_refusals(ctx, story) if granted and end]
        for _, granted, end in lost[:1]:
            seen = sighting(story, [item for item, _, _ in lost], f" It had been unlocked; then {end}.")
            yield replace(seen, evidence=(evidence(granted, "access was granted"), *seen.evidence))
