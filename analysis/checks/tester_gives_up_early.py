"""The tester asked again while the module was still at work.

What is seen: the module had asked to wait (code 78), and within the time it has for its next answer (P2*) the tester
sent it another request.
What it can mean: The tester's limit is too short; somebody pressed stop; a second tester.
How to tell it from look-alikes: two testers on one module; a wait answer that is older than its limit
What to try: give the tester a longer limit, and do not interrupt an erase
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the wait answer and the request behind it. Source: P2*, ISO 14229-2:2013, 7.2 (M).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from analysis.checks.looking.refusals import asked
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Exchange
from analysis.timing import P2_STAR_NS
from analysis.words import Confidence, Evidence, Severity
from canlog.isotp.messages import Message
from canlog.services.traits import Act


@check("tester-gives-up-early", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    lost = {step.exchange.number for step in ctx.record.missing_steps}  # their answers came, and are not in the record
    for story in ctx.stories:
        own = [item for item in ctx.own(story) if item.request is not None and not item.functional]
        found = tuple(
            Evidence(first.capture, (promise.last_line, second.begin[1]), f"{asked(first)}, then {asked(second)}")
            for first, second in pairwise(item for item in own if item.act is not Act.TESTER_PRESENT)
            if first.number not in lost and (promise := _promise_before(first, second)) is not None
        )
        if found:
            yield Seen(Confidence.MEDIUM, found, f"{story.label} was asked again before its answer was due.")


def _promise_before(first: Exchange, second: Exchange) -> Message | None:
    """The wait answer that was still good when the second request began."""
    if not first.pendings or second.capture != first.capture:
        return None
    promise = first.pendings[-1]
    is_open = first.response is None or first.response.first_line > second.begin[1] > promise.last_line
    is_early = 0 <= second.begin_ns - promise.end_ns < P2_STAR_NS
    return promise if is_open and is_early else None
