"""A value reads differently from what was written.

What is seen: a write was accepted, and a later reading of the same identifier shows other bytes.
What it can mean: The module scaled or cut the value; it was not stored, or lost at the restart; only a part was
written.
How to tell it from look-alikes: fields that the module changes itself (a counter, a date, a check): names can have
them ignored
What to try: compare the two values byte by byte; write it again, with the store step and the key-off wait the
service information asks for; read it after an ignition cycle
Caution: a trim belongs to one part in one place. A wrong one can damage engine or gearbox, or move the vehicle the
wrong way. Compare with the label on the part before the engine is started.
Evidence: the write and the reading. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.unit_values import lines_of, was_refused, writes_of
from analysis.checks.registry import Context, Seen, check
from analysis.words import Severity, Word


@check("trims-read-back-differs", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        for item in writes_of(ctx, story, None):
            details = item.details
            if item.outcome.word is not Word.FAILED or was_refused(ctx, item):
                continue
            if details["read_back"] == details["before"]:
                case = " It still reads the old value: the write was not taken."
            else:
                case = ""
            text = f"{story.label} {details['identifier']}: written {details['written']}, reads {details['read_back']}."
            shown = (lines_of(item, ctx, f"writes {details['written']}"), *item.outcome.proof)
            yield Seen(item.outcome.confidence, shown, text + case)
