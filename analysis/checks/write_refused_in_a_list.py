"""One write of a series was refused.

What is seen: neighbouring identifiers were written, some accepted, at least one refused for good.
What it can mean: That value is out of range; the identifier is missing in this variant; the session ran out
half-way.
How to tell it from look-alikes: a single write that was refused: no set is mixed
What to try: read the whole set back; put the cause right and write the refused ones again
Caution: a trim belongs to one part in one place. A wrong one can damage engine or gearbox, or move the vehicle the
wrong way. Compare with the label on the part before the engine is started.
Evidence: the refused writes. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.causes import causes_of
from analysis.checks.looking.unit_values import identifier_of, was_refused, writes_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Operation
from analysis.readings import said_identifiers
from analysis.words import Confidence, Severity


@check("write-refused-in-a-list", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        writes = writes_of(ctx, story)
        refused = [item for item in writes if was_refused(ctx, item)]
        for run in _sets(refused):
            accepted = [item for item in writes if item not in refused and _near(item, run)]
            if accepted:
                shown = tuple(evidence for item in run for evidence in item.outcome.proof)
                bad, good = said_identifiers(map(identifier_of, run)), said_identifiers(map(identifier_of, accepted))
                text = f"{story.label}: {bad} refused, {good} accepted. The set is now mixed, old and new."
                acts = [ctx.exchange(number) for item in run for number in item.exchanges]
                causes = causes_of(act for act in acts if act.nrc is not None)
                yield Seen(Confidence.HIGH, shown, text, causes=causes)


def _sets(refused: list[Operation]) -> list[list[Operation]]:
    """Refused writes by neighbourhood."""
    blocks = dict.fromkeys(identifier_of(item) >> 4 for item in refused)
    return [[item for item in refused if identifier_of(item) >> 4 == block] for block in blocks]


def _near(item: Operation, run: list[Operation]) -> bool:
    """The same but for the last digit: one family of identifiers."""
    return identifier_of(item) >> 4 == identifier_of(run[0]) >> 4
