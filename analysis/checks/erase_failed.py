"""The erase began and ended badly.

What is seen: the module took up the erase (code 78, wait) and then refused it, or answered with a status that means
failed.
What it can mean: The supply sank under the load; the memory is worn; the module restarted itself. The memory may be
empty.
How to tell it from look-alikes: an erase that was refused at once (no 78 before): then most likely nothing was
touched; an erase without any final answer
What to try: find out why the erase failed before a second try, the supply first; take the memory as empty until the
software identification is read; then try once more from the session
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the erase with its wait answers. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import routine_calls
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.operations.routines import START, RoutineCall, Status
from analysis.words import Confidence, Severity


@check("erase-failed", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        calls = [call for call in routine_calls(ctx, story) if call.kind == "erase" and call.control == START]
        for call in calls:
            began = bool(call.exchange.pendings) and call.status is Status.REFUSED
            if not began and call.status is not Status.BAD:
                continue
            good = any(_is_done(later) for later in calls if later.exchange.begin > call.exchange.end)
            yield Seen(
                Confidence.HIGH,
                (evidence(call.exchange, f"erase {call.option.hex().upper()}: {call.text}"),),
                f"{story.label}: the erase was taken up and then {call.text}." + (" A later one succeeded." * good),
                severity=Severity.NOTE if good else None,
            )


def _is_done(call: RoutineCall) -> bool:
    return call.exchange.positive and call.status is not Status.BAD
