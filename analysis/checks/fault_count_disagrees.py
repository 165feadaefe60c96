"""The count of fault codes and the list of them disagree.

What is seen: the module counts another number of codes than it lists, with no clear between the two: the monitor
status (01 01) beside the stored emission codes (03), or 19 01 beside 19 02 under the same mask.
What it can mean: A code was stored or went between the two readings; the module counts more than it lists; one of the
two answers is not of this module.
How to tell it from look-alikes: a clear between the two; a count of another module on the same request to all
What to try: read the codes and their count again and capture both; ask each module alone
Caution: none
Evidence: the list and the count. Source: SAE J1979 (M);
ISO 14229-1:2020, 12.3 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.fault_counts import count_disagrees
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity


@check("fault-count-disagrees", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        found = count_disagrees(ctx.own(story))
        if found is None:
            continue
        listed, count = found
        lists = f"{listed.asked} lists {', '.join(listed.text(code) for code in listed.codes) or 'no codes'}"
        shown = (listed.evidence(lists), evidence(count.exchange, count.said))
        yield Seen(Confidence.HIGH, shown, f"{story.label}: {count.said}, and {lists}.")
