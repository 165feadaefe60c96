"""Values were written before the memory was erased.

What is seen: writes were accepted, memory of the same module was erased behind them, and the values were not read
since.
What it can mean: The erase may have taken them along; in many modules values stand in another memory and stay.
How to tell it from look-alikes: values that were read again behind the download: then they are judged by that
What to try: write what is missing again, behind the programming
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the writes and the erase. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.unit_values import identifier_of, lines_of, writes_of
from analysis.checks.looking.written_early import erased_since
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.operations.routines import told_erase
from analysis.operations.write import read_again
from analysis.readings import said_identifiers
from analysis.words import Confidence, Severity


@check("trims-written-before-flash", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        early = [(item, erase) for item in writes_of(ctx, story, None) if (erase := erased_since(ctx, story, item))]
        if early:
            identifiers = [identifier_of(item) for item, _ in early]
            written, erased = said_identifiers(identifiers), told_erase(early[0][1])
            text = f"{story.label}: {written} written, then {erased}, and not read since."
            shown = [lines_of(item, ctx, f"{item.details['identifier']} was accepted") for item, _ in early]
            yield Seen(
                Confidence.MEDIUM,
                (*shown, evidence(early[0][1], "the erase behind it")),
                text,
                step=read_again(identifiers),
            )
