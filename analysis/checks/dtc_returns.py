"""A fault comes back after clearing.

What is seen: the faults were cleared, and a later list holds a code again as failed.
What it can mean: A real fault, or a step of the job that is missing.
How to tell it from look-alikes: codes that are listed as not tested since the clear; lost communication while a
module was off
What to try: find the cause of the code; do the missing step; then clear and read again
Caution: learn routines and tests move parts, build pressure or start the engine. Chock the vehicle, keep people
away, mind high voltage, follow the vehicle maker's service information.
Evidence: the clear and the list behind it. Source: ISO 14229-1:2020, annex D.2 (M).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.fault_lists import FaultList, fault_lists
from analysis.operations.model import Kind, evidence
from analysis.words import Confidence, Severity
from canlog.names.dtc import CONFIRMED, TEST_FAILED


@check("dtc-returns", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for item in ctx.standing(Kind.CLEAR):
        story, clear = ctx.record.story(item.link.key), ctx.act(item)
        if story is None or not clear.positive:
            continue
        before = _failed(one for one in fault_lists(story) if one.exchange.begin < clear.begin)
        behind = _failed(one for one in fault_lists(story) if one.exchange.begin > clear.begin)
        back = sorted(set(before) & set(behind))
        if back:
            names = {code: behind[code].called(code, item.label, ctx.record.names) for code in back}
            text = ", ".join(names.values())
            shown = tuple(dict.fromkeys(evidence(behind[code].exchange, f"lists {names[code]}") for code in back))
            is_active = all(fault_lists(story)[-1].shows(code, TEST_FAILED) for code in back)
            end = "again, active at the last reading" if is_active else "again"
            yield Seen(Confidence.HIGH, (evidence(clear, "cleared"), *shown), f"{item.label}: {text} {end}.")


def _failed(lists: Iterable[FaultList]) -> dict[int, FaultList]:
    """Codes whose test failed, and the last list that says so."""
    return {code: one for one in lists for code in one.codes if one.shows(code, TEST_FAILED | CONFIRMED)}
