"""The module did not come back after its reset.

What is seen: the reset was answered, and later requests to the module were not.
What it can mean: Its application does not start and nothing else answers; its supply or fuse; the record was made
on another branch.
How to tell it from look-alikes: a start that takes longer than the capture goes on; only the boot loader answers:
there something does answer
What to try: leave the ignition on and ask again after a minute; then restart as the service information asks, and
listen for any frame of the module
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the reset and the requests without an answer. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.silent_links import lost_resets, reset_lines
from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Severity


@check("reset-no-return", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for item in lost_resets(ctx):
        yield Seen(
            Confidence.MEDIUM,
            tuple(dict.fromkeys((*reset_lines(ctx, item), *item.outcome.proof))),
            f"{item.label}: {item.outcome.because[0]}.",
        )
