"""The module does not accept the download.

What is seen: the request to download was refused for good.
What it can mean: The memory is not erased; address or size do not fit; a step before is missing; a file for other
hardware.
How to tell it from look-alikes: a probe of what the module accepts: another request for the same memory succeeds
later
What to try: compare the hardware number with the file; then start again from the session
Caution: do not repeat blindly: wrong keys are counted, and each erase puts the module at risk. The vehicle maker's
service information decides.
Evidence: the refusals. Source: ISO 14229-1:2020, 15.2 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import see_refusals
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity
from canlog.services.dialects import GMW, KWP
from canlog.services.traits import Act

#: ISO 14230-3 (M): the download, its format, its address or its size is not accepted. GMW3110 1.6 has no such codes.
OLDER = {KWP: frozenset({0x22, 0x31, 0x33, *range(0x40, 0x44)}), GMW: frozenset({0x22, 0x31})}


@check("download-refused", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, {0x13, 0x22, 0x24, 0x31, 0x33, 0x70}, {Act.DOWNLOAD, Act.FILE}, older=OLDER)
