"""The identification is the same before and after the download.

What is seen: every software identification that was read before and after the download is unchanged.
What it can mean: The same version was programmed again, which is legal; the old application still runs; the reading
came from a gateway's memory.
How to tell it from look-alikes: a programming date or fingerprint that changed; a check routine that passed: then
the module holds what was sent
What to try: read the software identification after an ignition cycle; compare it with the one the file should bring
Caution: do not repeat blindly: wrong keys are counted, and each erase puts the module at risk. The vehicle maker's
service information decides.
Evidence: the last readings. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import programmed
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.readings import said_identifiers
from analysis.words import Confidence, Severity, Word


@check("identity-unchanged", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        around = programmed(ctx, story)
        if around is None:
            continue
        readings = [one for one in ctx.record.readings(story) if one.tells_software and not one.written_by_tester]
        before = {one.identifier: one for one in readings if one.place < around.begin}
        after = {one.identifier: one for one in readings if one.place > around.restart}
        both = sorted(set(before) & set(after))
        if not both or any(before[one].raw != after[one].raw for one in both):
            continue
        proved = all(item.outcome.word is Word.CONFIRMED for item in around.done)
        text = f"{story.label}: {said_identifiers(both)} as before the download." + (
            " The download is proved otherwise, so this is most likely the same version again." if proved else ""
        )
        shown = tuple(evidence(after[one].exchange, f"{after[one].title} as before") for one in both)
        yield Seen(Confidence.MEDIUM, shown, text, severity=Severity.NOTE if proved else None)
