"""The count of stored codes and the list of them disagree.

What is seen: the monitor status (01 01) counts another number of stored emission codes than the list of them (03)
holds, with no clear between the two.
What it can mean: A code was stored or went between the two readings; the module counts more than it lists; one of the
two answers is not of this module.
How to tell it from look-alikes: a clear between the two; a count of another module on the same request to all
What to try: read the stored codes (03) and their count (01 01) again and capture both; ask each module alone
Caution: none
Evidence: the list and the count. Source: SAE J1979 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.fault_lists import count_disagrees, stored_count
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity
from canlog.counting import counted


@check("fault-count-disagrees", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        found = count_disagrees(ctx.own(story))
        if found is None:
            continue
        listed, counting = found
        codes = ", ".join(listed.text(code) for code in listed.codes) or "no codes"
        said = counted(stored_count(counting) or 0, "stored code")
        shown = (listed.evidence(f"03 lists {codes}"), evidence(counting, f"01 01 counts {said}"))
        yield Seen(Confidence.HIGH, shown, f"{story.label}: 01 01 counts {said}, and 03 lists {codes}.")
