"""Writing to the module's memory failed.

What is seen: a block, a write or a clear was refused for good with code 72.
What it can mean: The supply sank; the memory was not erased; the memory is worn; the file is for other hardware.
The same place twice speaks for memory or file, another place for supply or line.
How to tell it from look-alikes: transfer halted (code 71): there the data is at fault; an erase that failed has a
finding of its own
What to try: check the supply under load; then start again from the session, not from the block
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the refusals. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import see_refusals
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity
from canlog.services.dialects import GMW, KWP
from canlog.services.traits import Act


@check("programming-failure", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, {0x72}, {Act.CLEAR, Act.WRITE, Act.BLOCK}, older={GMW: {0x85}, KWP: frozenset()})
