"""A value or identifier was not accepted.

What is seen: a write was refused for good with code 31.
What it can mean: The identifier does not exist in this variant; the value is out of range; the data is for another part
family; some modules say 31 when they are locked.
How to tell it from look-alikes: a length that does not fit (code 13); access that is missing (code 33)
What to try: check the part number, and length and range of the value; read the identifier to see what it holds now
Caution: a trim belongs to one part in one place. Compare with the label on the part before it is written again. The
vehicle maker's service information decides.
Evidence: the refusals. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import see_refusals
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity
from canlog.services.traits import Act


@check("identifier-refused", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, {0x31}, {Act.WRITE, Act.CONTROL, Act.WRITE_MEMORY})
