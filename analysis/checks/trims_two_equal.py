"""Units hold the same value.

What is seen: values of one set are equal, and none of them is a default.
What it can mean: One label was entered more than once; or the parts do carry the same value.
How to tell it from look-alikes: short codes, which repeat by chance; the same value by intent: the job sheet says
so
What to try: compare the values with the labels on the parts
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the values. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.unit_values import runs, values_now
from analysis.checks.registry import Context, Seen, check
from analysis.readings import said_identifiers
from analysis.words import Confidence, Severity

#: Shorter codes repeat by chance.
LONG_ENOUGH = 4


@check("trims-two-equal", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    asked = [item.asked for item in ctx.expectations]
    for story in ctx.stories:
        for run in runs(values_now(ctx, story)):
            if len({item.value for item in run}) == 1 and len(run) > 2:
                continue  # all alike: a default, not a slip
            for value in dict.fromkeys(item.value for item in run):
                same = [item for item in run if item.value == value]
                named = any(item.name is not None and item.name.is_default(value) for item in same)
                if len(same) < 2 or len(value) < LONG_ENOUGH or len(set(value)) < 2 or named:
                    continue
                if asked.count(value.hex().upper()) >= len(same):
                    continue
                text = f"{story.label}: {said_identifiers(item.identifier for item in same)} hold the same value."
                yield Seen(Confidence.MEDIUM, tuple(item.evidence for item in same), text)
