"""A module that asked to wait let the tester wait longer than it may.

What is seen: after a wait answer (code 78) the next one, or the final answer, came later than the time for that
(P2*, as announced, else 5 s) and 100 ms.
What it can mean: Erasing or checking took longer than announced; the recorder had a gap.
How to tell it from look-alikes: a recorder that lost frames: other traffic is missing in that time as well
What to try: give the tester a longer limit; a tester that gives up here leaves the memory half erased
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the wait answer and what came next. Source: P2*, ISO 14229-2:2013, 7.2 (M); 100 ms are common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.waits import evidence_of, late_waits
from analysis.checks.registry import Context, Seen, check
from analysis.timing import MS_NS
from analysis.words import Confidence, Severity


@check("pending-late", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        late = [wait for wait in late_waits(ctx, story) if wait.behind_pending]
        if not late:
            continue
        worst = max(late, key=lambda wait: wait.length_ns)
        limit = worst.promise.p2_star_ns // MS_NS
        text = f"{story.label}: {worst.length_ns // MS_NS} ms passed behind a wait answer, {limit} ms are its limit."
        yield Seen(Confidence.HIGH, evidence_of(late, "the next answer came"), text)
