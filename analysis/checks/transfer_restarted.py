"""A transfer was begun again before its end.

What is seen: the same memory was asked for again before the first transfer had been ended, and nothing had been
refused.
What it can mean: The tester may have repeated it after an answer that it did not get; somebody may have stopped it
and begun again; a second tester may be at work. The later transfer counts.
How to tell it from look-alikes: a transfer that was refused: then the refusal is the finding; another part at another
address
What to try: judge by the later transfer; look in front of it for a missing answer, a pause or a second tester
Caution: none
Evidence: the last of the first transfer and the new request. Source: ISO 14229-1:2020, 15.2 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import attempts_at, place_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.attempts import Attempt
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity
from canlog.counting import counted


@check("transfer-restarted", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        found = attempts_at(ctx, story)
        for at, attempt in enumerate(found):
            again = next((item for item in found[at + 1 :] if item.request and item.same_thing(attempt)), None)
            if again is None or again.request is None or not _was_left(attempt):
                continue
            text = (
                f"{place_of(story, attempt)}: left after {counted(attempt.account.blocks, 'block')}, and begun again."
            )
            shown = (
                evidence(attempt.exchanges[-1], "the last of the first try"),
                evidence(again.request, "the same memory is asked for again"),
            )
            yield Seen(Confidence.HIGH, shown, text)


def _was_left(attempt: Attempt) -> bool:
    """Blocks were accepted and nothing was refused: a refusal has a finding of its own."""
    taken = attempt.ended is None and attempt.account.blocks > 0
    return taken and attempt.account.refused is None and not attempt.exits
