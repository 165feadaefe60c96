"""The module refused the key.

What is seen: a key was refused with code 35.
What it can mean: Wrong algorithm or access level; a key made for an older seed; another variant of the module.
How to tell it from look-alikes: too many keys (code 36): then the lock-out has begun
What to try: stop after one wrong key and find out why; ask the service information how many tries are left
Caution: wrong keys are counted, in some modules over days, and the lock-out can need minutes with power on. The
vehicle maker's service information decides.
Evidence: the refused keys. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.refusals import see_refusals
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity
from canlog.services.traits import Act


@check("key-refused", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_refusals(ctx, {0x35}, {Act.UNLOCK})
