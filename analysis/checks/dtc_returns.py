"""A fault comes back after clearing.

What is seen: the faults were cleared, and a later list holds a code again as failed.
What it can mean: A real fault, or a step of the job that is missing.
How to tell it from look-alikes: codes that are listed as not tested since the clear; codes that the clear was not
of; codes that no list showed gone, which may have been kept; lost communication while a module was off
What to try: find the cause of the code; do the missing step; then clear and read again
Caution: learn routines and tests move parts, build pressure or start the engine. Chock the vehicle, keep people
away, mind high voltage, follow the vehicle maker's service information.
Evidence: the clear and the list behind it. Source: ISO 14229-1:2020, annex D.2 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.codes_back import codes_back, state_at_the_end
from analysis.fault_lists import fault_lists
from analysis.operations.model import Kind, evidence
from analysis.words import Confidence, Severity


@check("dtc-returns", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for item in ctx.standing(Kind.CLEAR):
        story, clear = ctx.record.story(item.link.key), ctx.act(item)
        if story is None or not clear.positive:
            continue
        before = [one for one in fault_lists(story) if one.exchange.begin < clear.begin]
        behind = [one for one in fault_lists(story) if one.exchange.begin > clear.begin]
        back = codes_back(clear, before, behind)
        if back:
            names = {code: one.called(code, item.label, ctx.record.names) for code, one in back.items()}
            text = ", ".join(names.values())
            shown = tuple(dict.fromkeys(evidence(one.exchange, f"lists {names[code]}") for code, one in back.items()))
            end = state_at_the_end(back, behind)
            yield Seen(Confidence.HIGH, (evidence(clear, "cleared"), *shown), f"{item.label}: {text} again{end}.")
