"""One write of a series was refused.

What is seen: neighbouring identifiers were written, some accepted, at least one refused for good.
What it can mean: That value is out of range; the identifier is missing in this variant; the session ran out
half-way.
How to tell it from look-alikes: a single write that was refused: no set is mixed
What to try: read the whole set back; put the cause right and write the refused ones again
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the refused writes. Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from analysis.checks.looking.causes import causes_of
from analysis.checks.looking.unit_values import identifier_of, mixed_sets
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Operation
from analysis.readings import said_identifiers
from analysis.words import Confidence, Severity

#: What to do about a refusal before the value is written again, by its code. ISO 14229-1:2020, annex A.1 (M).
FIRST: Final[Mapping[int, str]] = {
    0x13: "compare length and layout of the value with the service information",
    0x22: "find the condition that is missing (ignition, supply, session)",
    0x31: "make sure that identifier and value fit this variant",
    0x33: "unlock the module",
    0x72: "check the supply under load, for writing the memory failed",
    0x7F: "open the session in which this may be written",
}


@check("write-refused-in-a-list", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        for refused, accepted in mixed_sets(ctx, story):
            shown = tuple(evidence for item in refused for evidence in item.outcome.proof)
            bad, good = said_identifiers(map(identifier_of, refused)), said_identifiers(map(identifier_of, accepted))
            codes = _codes(ctx, refused)
            text = f"{story.label}: {bad} refused{codes}, {good} accepted. The set is now mixed, old and new."
            first = FIRST.get(ctx.act(refused[0]).nrc or 0, "find the cause of the refusal")
            step = f"{first}, then write {bad} of {story.label} once and read it after an ignition cycle"
            acts = [ctx.exchange(number) for item in refused for number in item.exchanges]
            causes = causes_of(act for act in acts if act.nrc is not None)
            yield Seen(Confidence.HIGH, shown, text, step=step, causes=causes)


def _codes(ctx: Context, refused: list[Operation]) -> str:
    codes = dict.fromkeys(f"{nrc:02X}" for item in refused if (nrc := ctx.act(item).nrc) is not None)
    return f" with {', '.join(codes)}" if codes else ""
