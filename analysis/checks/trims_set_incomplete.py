"""Only a part of the set was written.

What is seen: of the values that the job sheet asks for some were written, and others neither written nor read behind
the programming.
What it can mean: Writing may have been broken off; only the values of replaced parts may have been meant, which is
legal.
How to tell it from look-alikes: a write that was refused: then the refusal is the finding; a value that was read and
is right
What to try: read the whole set; write what is missing and compare it with the labels on the parts
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the last that is heard of the module, and the writes. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.asked import came_far, is_untouched, last_heard
from analysis.checks.looking.unit_values import identifier_of, lines_of, was_refused, writes_of
from analysis.checks.registry import Context, Seen, check
from analysis.readings import said_identifiers
from analysis.words import Confidence, Severity


@check("trims-set-incomplete", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for asked, story in came_far(ctx):
        missing = [one.identifier for one in asked.trims if is_untouched(ctx, story, one)]
        meant = {one.identifier for one in asked.trims}
        done = [item for item in writes_of(ctx, story) if identifier_of(item) in meant and not was_refused(ctx, item)]
        if missing and done:
            written = said_identifiers(map(identifier_of, done))
            text = f"{story.label}: {written} written; {said_identifiers(missing)} neither written nor read since."
            shown = tuple(lines_of(item, ctx, f"{item.details['identifier']} was written") for item in done)
            yield Seen(Confidence.MEDIUM, (*last_heard(ctx, story), *shown), text)
