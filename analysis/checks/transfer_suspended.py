"""The module halted the transfer.

What is seen: a block was refused for good with code 71.
What it can mean: More or fewer bytes than asked for; a block whose check is wrong; a compressed or encrypted file
that is damaged or wrong.
How to tell it from look-alikes: writing memory failed (code 72): there the memory is at fault, here the data
What to try: check the file against its source; then start again from the session
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the refused block. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import see_refusals
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity


@check("transfer-suspended", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, {0x71}, {0x36})
