"""The erase was refused at once.

What is seen: the module refused to erase and never asked for time (no code 78 before).
What it can mean: Not unlocked or not in the programming session; a condition or the supply; a wrong block or
address.
How to tell it from look-alikes: an erase that began and failed (code 78 before the refusal): then take the memory
as empty
What to try: read the software identification in the default session before anything else: it tells whether the old
software still runs; meet the condition that the code names
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the refusals. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.causes import causes_of
from analysis.checks.looking.refusals import said
from analysis.checks.looking.transfers import routine_calls
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.operations.routines import START, RoutineCall, Status
from analysis.words import Confidence, Severity

#: "General programming failure": the module tried.
PROGRAMMING_FAILURE = 0x72
GAVE_TROUBLE = (
    "Code 72 says that the memory itself gave trouble: the erase may have begun, so take the memory as damaged until "
    "the application answers."
)
STANDS = "Most likely the old software is still there."


@check("erase-refused", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        untouched: list[RoutineCall] = []
        for call in routine_calls(ctx, story):
            if call.kind != "erase" or call.control != START:
                continue
            if call.status is not Status.REFUSED or call.exchange.pendings:
                untouched = []
                break  # from the first erase that began on, the old software is gone
            untouched.append(call)
        for call in untouched[-1:]:
            shown = tuple(evidence(one.exchange, said(one.exchange)) for one in untouched)
            is_memory = any(one.exchange.nrc == PROGRAMMING_FAILURE for one in untouched)
            text = f"{story.label}: {said(call.exchange)}, without a wait before it."
            sure, end = (Confidence.MEDIUM, GAVE_TROUBLE) if is_memory else (Confidence.HIGH, STANDS)
            causes = causes_of(one.exchange for one in untouched)
            yield Seen(sure, shown, f"{text} {end}", causes=causes)
