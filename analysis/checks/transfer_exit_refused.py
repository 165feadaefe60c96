"""The end of the transfer was refused.

What is seen: the transfer exit was refused for good.
What it can mean: Bytes are missing for the module; their check value is wrong; the last writing failed. The part is
not complete.
How to tell it from look-alikes: a refused block: there the transfer never came to its end
What to try: leave the module powered and start the download again from the session; compare the bytes carried with
the file
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the refused exit. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.causes import causes_of
from analysis.checks.looking.refusals import said
from analysis.checks.looking.transfers import attempts, place_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity


@check("transfer-exit-refused", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story, attempt, replaced in attempts(ctx):
        last = attempt.exit_refused
        if last is None:
            continue
        text = f"{place_of(story, attempt)}: {said(last)}." + (" A later download was ended well." if replaced else "")
        less = Severity.NOTE if replaced else None
        yield Seen(
            Confidence.HIGH,
            (evidence(last, said(last)),),
            text,
            severity=less,
            causes=causes_of([last]),
            is_over=replaced,
        )
