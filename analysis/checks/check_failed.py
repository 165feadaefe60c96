"""The module's own check says no.

What is seen: behind the download a check routine was refused for the memory (codes 70 to 73), or answered with a
status that the names call bad.
What it can mean: The data is damaged; the file is wrong; the parts do not fit together; a signature is missing.
How to tell it from look-alikes: a status that nobody explains: then the meaning is open, not bad; a
check refused for its conditions (22) or unknown to the module (11, 12, 31): it was not carried out
What to try: do not reset the module into this part; find out whether the file is the right one; then download that
part again from the session
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the check. Source: ISO 14229-1:2020, 14 and annex F (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import routine_calls
from analysis.checks.registry import Context, Seen, check
from analysis.operations.download import CHECKS, MEMORY_REFUSALS
from analysis.operations.model import evidence
from analysis.operations.routines import RoutineCall, Status
from analysis.words import Confidence, Severity
from canlog.services.traits import Act


@check("check-failed", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        ended = [item for item in ctx.own(story) if item.act in (Act.BLOCK, Act.EXIT) and item.positive]
        calls = [call for call in routine_calls(ctx, story) if ended and call.exchange.begin > ended[0].end]
        for call in calls:
            if not _says_no(call):
                continue
            good = any(_passes(later, call) for later in calls if later.exchange.begin > call.exchange.end)
            what = f"check {call.said}" + (f" ({call.name.name})" if call.name else "")
            text = f"{story.label}: {what}: {call.text}." + (" It passed later." if good else "")
            shown = (evidence(call.exchange, f"{what}: {call.text}"),)
            yield Seen(Confidence.HIGH, shown, text, severity=Severity.NOTE if good else None)


def _says_no(call: RoutineCall) -> bool:
    """Bad by names, or refused for a reason of the memory, whatever its name; other refusals judge nothing."""
    if call.status is Status.BAD:
        return call.kind in CHECKS
    return call.status is Status.REFUSED and call.kind in (*CHECKS, "") and call.exchange.nrc in MEMORY_REFUSALS


def _passes(later: RoutineCall, call: RoutineCall) -> bool:
    same = later.identifier == call.identifier and later.option[:1] == call.option[:1]
    return same and later.exchange.positive and later.status is not Status.BAD
