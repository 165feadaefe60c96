"""The transfer was never ended.

What is seen: all bytes asked for were accepted, and the tester went on to another step without the transfer exit.
What it can mean: The tester leaves it out; or the frame is missing in the record.
How to tell it from look-alikes: a capture that ends there; a transfer that broke off: then bytes are missing
What to try: rely on the module's own check, if one was run; else program the part again
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the last block and the step behind it. Source: ISO 14229-1:2020, 15.5 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import attempts, place_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity
from canlog.counting import counted
from canlog.services.traits import Act

#: What only makes sense once a transfer is over.
NEXT_STEPS = (Act.SESSION, Act.RESET, Act.ROUTINE, Act.DOWNLOAD)


@check("transfer-exit-missing", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story, attempt, replaced in attempts(ctx):
        account = attempt.account
        if (
            attempt.exits
            or not attempt.has_exit
            or not account.blocks
            or account.problems
            or account.carried != attempt.size
        ):
            continue
        following = next(
            (item for item in ctx.own(story) if item.begin > attempt.end and item.act is not Act.TESTER_PRESENT), None
        )
        if following is None or following.act not in NEXT_STEPS or replaced:
            continue
        shown = (evidence(attempt.blocks[-1], "the last block"), evidence(following, "the step behind it"))
        yield Seen(
            Confidence.HIGH,
            shown,
            f"{place_of(story, attempt)}: all {counted(attempt.size, 'byte')}, and no transfer exit.",
        )
