"""A long message found no flow control.

What is seen: a message of several frames was begun, no flow control answered its first frame within 1 s, and the rest
was never sent.
What it can mean: The receiver may be off, busy or not there; the address may be wrong; a long message to all modules
is not allowed. The receiver may be the tester, if the message is an answer.
How to tell it from look-alikes: a recorder or filter that lost the flow control: then the other frames follow all the
same
What to try: ask the module with {alive}, which fits into one frame; check address and addressing of the tester
Caution: none
Evidence: the first frames. Source: N_Bs, ISO 15765-2:2016, 9.8 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.breaks.silence import Silent
from analysis.checks.looking.broken_messages import NO_FLOW_CONTROL, broken, see_broken
from analysis.checks.looking.silent_links import fell_silent
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity


@check("flow-control-missing", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    one_way = {key for _, key in ctx.record.one_way}
    gone = {story.link.key for who in (Silent.MODULE, Silent.EVERYTHING) for story in fell_silent(ctx, who)}
    found = (item for item in broken(ctx, {NO_FLOW_CONTROL}) if item[1].link.key not in one_way | gone)
    yield from see_broken(ctx, found, "found no receiver")
