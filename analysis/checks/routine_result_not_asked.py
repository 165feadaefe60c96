"""The result of a routine was never asked for.

What is seen: a routine was started, its answer held no status, and its result was not asked for.
What it can mean: It may run on in the background; the tester may not need the result. Whether it ended well is not
shown.
How to tell it from look-alikes: an answer with a status; an erase, which ends with its answer
What to try: ask for the result ({result}) as the service information says, and capture it
Caution: learn routines and tests move parts, build pressure or start the engine. Chock the vehicle, keep people
away, mind high voltage, follow the vehicle maker's service information.
Evidence: the start. Source: ISO 14229-1:2020, 14 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import routine_calls
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.operations.routines import RESULT, START, STOP, RoutineRun, runs_of
from analysis.words import Confidence, Severity
from canlog.services.traits import traits_of


@check("routine-result-not-asked", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        for run in runs_of(routine_calls(ctx, story), story):
            if _is_open(run):
                first = run.calls[0]
                called = f" ({first.name.name})" if first.name else ""
                text = f"{story.label}: routine {first.said}{called} started without a status; no result asked for."
                yield Seen(Confidence.MEDIUM, (evidence(first.exchange, "the start"),), text)


def _is_open(run: RoutineRun) -> bool:
    """Accepted, with nothing said about its end; an erase ends with its answer."""
    first = run.calls[0]
    if first.control != START or not first.exchange.positive or first.status_bytes or first.kind == "erase":
        return False
    asks = bool(traits_of(first.exchange.dialect).routine_results)
    return asks and not any(call.control in (RESULT, STOP) for call in run.calls)
