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


@check("download-refused", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, {0x13, 0x22, 0x24, 0x31, 0x33, 0x70}, {0x34, 0x38})
