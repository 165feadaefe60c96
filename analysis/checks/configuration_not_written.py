"""The configuration was not written.

What is seen: the job sheet gives the configuration of a module; the module was programmed; the value was neither
written nor read behind it.
What it can mean: It may have been forgotten; the module may still hold the right value from before.
How to tell it from look-alikes: a value that was read behind the programming: then it is judged by that
What to try: read the configuration; write the one that the job sheet gives where it differs, and read it after an
ignition cycle
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the last that is heard of the module. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.asked import came_far, is_untouched, last_heard
from analysis.checks.registry import Context, Seen, check
from analysis.readings import said_identifiers
from analysis.words import Confidence, Severity


@check("configuration-not-written", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for asked, story in came_far(ctx):
        missing = [one.identifier for one in asked.configuration if is_untouched(ctx, story, one)]
        if missing:
            text = f"{story.label}: {said_identifiers(missing)} neither written nor read behind the programming."
            yield Seen(Confidence.MEDIUM, last_heard(ctx, story), text)
