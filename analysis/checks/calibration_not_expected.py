"""Other software or calibration than the job sheet asks for.

What is seen: the programming itself is sound, and the identification read afterwards is not the one of the job
sheet.
What it can mean: The wrong file was chosen; a newer one replaced it; only one of several parts was programmed. A
blank may also be filled in later.
How to tell it from look-alikes: programming that failed: then the old identification is still there; an
identification read before the restart
What to try: compare the file with VIN and hardware number; program again only with the right one
Caution: do not drive with software or a calibration that is not meant for the vehicle. Do not repeat blindly: wrong
keys are counted, and each erase puts the module at risk. The vehicle maker's service information decides.
Evidence: the readings. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Part
from analysis.sheet.items.item import Expectation
from analysis.words import BROKEN, Confidence, Severity, Word
from canlog.names.blank import BLANK


@check("calibration-not-expected", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    numbered = {item.number: item for item in ctx.operations}
    wrong = [
        item
        for item in ctx.expectations
        if item.part is Part.PROGRAMMING and item.word is Word.FAILED and item.found is not None and item.evidence
    ]
    for link in dict.fromkeys(item.link for item in wrong):
        here = [item for item in wrong if item.link == link]
        acts = [numbered[item.operation] for item in here if item.operation in numbered]
        if any(act.outcome.word in BROKEN for act in acts):
            continue
        text = "; ".join(f"{item.item} {_reads(item)}, asked for is {item.asked}" for item in here)
        shown = tuple(one for item in here for one in item.evidence)
        label = here[0].item.partition(": ")[0]
        step = f"choose the file for {label} by VIN and hardware number, and program it"
        if all(item.found == BLANK for item in here):
            step = f"find out why {label} reads blank before it is programmed again"
        yield Seen(Confidence.HIGH, shown, f"{text}.", step=step)


def _reads(item: Expectation) -> str:
    return "reads blank" if item.found == BLANK else f"is {item.found}"
