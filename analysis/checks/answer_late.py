"""Answers came later than they should.

What is seen: from the end of a request to the begin of its answer passed more than the time that the module
announced, or 50 ms where it announced none, and 20 ms for the way.
What it can mean: A busy bus or a gateway on the way; a module that works at something else.
How to tell it from look-alikes: stamps that are coarse or were taken late by a busy computer; a clock that was set
What to try: nothing, as long as the tester took the answer; else give the tester a longer limit
Caution: none
Evidence: the latest answers, each with its request. Source: P2, ISO 14229-2:2013, 7.2 (M); 20 ms are common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.waits import evidence_of, late_waits
from analysis.checks.registry import Context, Seen, check
from analysis.timing import MS_NS
from analysis.words import Confidence, Severity
from canlog.counting import counted


@check("answer-late", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        late = [wait for wait in late_waits(ctx, story) if not wait.behind_pending]
        if not late:
            continue
        worst = max(late, key=lambda wait: wait.length_ns)
        promised = "it announced" if worst.promise.lines else "the standard gives"
        text = (
            f"{story.label}: {counted(len(late), 'answer')} came late, one of them after {worst.length_ns // MS_NS} ms "
            f"where {promised} {worst.promise.p2_ns // MS_NS} ms."
        )
        yield Seen(Confidence.MEDIUM, evidence_of(late, "the answer came"), text)
