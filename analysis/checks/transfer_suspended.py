"""The module halted the transfer.

What is seen: a block was refused for good with code 71, or in KWP2000 with one of its codes for blocks (71-77, 79).
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
from canlog.services.dialects import KWP
from canlog.services.traits import Act

#: ISO 14230-3 (M): the transfer was suspended or given up; a block's address, size, kind or checksum is wrong.
KWP_CODES = frozenset({0x71, 0x72, 0x74, 0x75, 0x76, 0x77, 0x79})


@check("transfer-suspended", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, {0x71}, {Act.BLOCK}, older={KWP: KWP_CODES})
