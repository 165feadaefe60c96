"""The module expected another block.

What is seen: a block was refused for good with code 73, wrong block counter.
What it can mean: The answer to the block before was lost and the tester repeated or skipped; a block never reached
the module; two testers.
How to tell it from look-alikes: blocks missing only in the record: there the module goes on with positive answers
What to try: start the download again from its request; look for a second tester or a bad connection
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the refused block. Source: ISO 14229-1:2020, 15.4 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import see_refusals
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity
from canlog.services.traits import Act


@check("block-counter-refused", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, {0x73}, {Act.BLOCK})
