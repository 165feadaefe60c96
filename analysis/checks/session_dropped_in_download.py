"""The session was lost inside a download.

What is seen: blocks were accepted; then the module refused the next one as if no session or no transfer were open, or
the session was changed or the module restarted before all bytes had been carried.
What it can mean: A pause of the tester let the session run out; the supply made the module restart; a second tester or
program changed the session. The application is not whole.
How to tell it from look-alikes: a block counter that was refused (code 73): there the transfer is still open; a block
that was refused and behind which the tester gave up
What to try: find the pause, the restart or the second tester in front of it; then start the whole download again from
the session
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the last accepted block and what came behind it. Source: ISO 14229-1:2020, 10.2 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.changing import dropped_at
from analysis.checks.looking.refusals import said
from analysis.checks.looking.transfers import attempts, place_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.attempts import Attempt
from analysis.operations.model import Kind, evidence
from analysis.story import Story
from analysis.words import Confidence, Evidence, Severity


@check("session-dropped-in-download", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story, attempt, replaced in attempts(ctx):
        taken = [block for block in attempt.blocks if block.positive]
        dropped = _dropped(ctx, story, attempt) if taken and attempt.ended is None else None
        if dropped is not None:
            text = f"{place_of(story, attempt)}: {dropped.text} after {len(taken)} accepted blocks."
            end = " A later download was ended well." if replaced else ""
            shown = (evidence(taken[-1], "the last accepted block"), dropped)
            yield Seen(Confidence.HIGH, shown, text + end, severity=Severity.NOTE if replaced else None)


def _dropped(ctx: Context, story: Story, attempt: Attempt) -> Evidence | None:
    refused = next((block for block in attempt.blocks if dropped_at(ctx, story, block)), None)
    if refused is not None:
        return evidence(refused, said(refused))
    if attempt.kind is Kind.UPLOAD or not attempt.has_exit or attempt.closed_at is None or not _is_short(attempt):
        return None
    if attempt.closed_by not in ("the session was changed", "the module started anew"):
        return None
    place = attempt.closed_at
    is_same = place[0] == attempt.end[0]
    return Evidence(place[0], (place[1],), attempt.closed_by) if is_same else None


def _is_short(attempt: Attempt) -> bool:
    """Bytes are missing although every block was accepted: the tester had not given up."""
    if attempt.size is None or attempt.transformed or attempt.exits or attempt.account.problems:
        return False
    return attempt.account.carried < attempt.size and all(block.positive for block in attempt.blocks)
