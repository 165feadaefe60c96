"""A fault is active at the last reading.

What is seen: behind what was done to a module its last fault list holds a code whose last test failed.
What it can mean: A real fault, a part that is not connected, or a step of the job that is missing.
How to tell it from look-alikes: codes that are only stored, or not tested since the clear; a code that was there
before and came back
What to try: find the cause of the code; do the missing step; then clear and read again
Caution: learn routines and tests move parts, build pressure or start the engine. Chock the vehicle, keep people
away, mind high voltage, follow the vehicle maker's service information.
Evidence: the last list. Source: ISO 14229-1:2020, annex D.2 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.named_faults import is_about_the_job
from analysis.checks.registry import Context, Seen, check
from analysis.fault_lists import MAIN, FaultList, fault_lists, last_lists
from analysis.operations.model import Kind, evidence
from analysis.words import Confidence, Severity
from canlog.names.dtc import TEST_FAILED


@check("fault-active", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        acts = [item for item in ctx.operations if item.part is not None and item.link.key == story.link.key]
        if not acts:
            continue
        begin = ctx.act(acts[-1]).begin
        names, shown = [], []
        for last, left in last_lists(one for one in fault_lists(story) if one.kind == MAIN):
            new = [code for code in left if last.exchange.begin >= begin and _is_new(code, last, ctx)]
            called = [last.called(code, story.label, ctx.record.names) for code in new]
            names += called
            shown += [evidence(last.exchange, f"lists {', '.join(called)}")] if new else []
        if names:
            said, where = ", ".join(names), ", ".join(one.where for one in shown)
            verb = "is" if len(names) == 1 else "are"
            text = f"{story.label}: {said} {verb} active at the last reading ({where})."
            yield Seen(Confidence.HIGH, tuple(shown), text)


def _is_new(code: int, last: FaultList, ctx: Context) -> bool:
    """It fails now, and no other finding tells of it."""
    if not last.shows(code, TEST_FAILED) or is_about_the_job(code):
        return False
    return not _is_back(last.text(code), last.exchange.link.key, ctx)


def _is_back(code: str, link: str, ctx: Context) -> bool:
    """The finding about codes that return has it."""
    clears = [item for item in ctx.standing(Kind.CLEAR) if item.link.key == link]
    return any(code in (item.details["returned"] or ()) for item in clears)  # type: ignore[operator]
