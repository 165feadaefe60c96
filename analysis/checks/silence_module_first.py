"""The module fell silent first.

What is seen: the module answered, then stopped, while the tester and others went on.
What it can mean: It restarted or hung; its own supply, ground or fuse; it left the bus after errors on its line.
How to tell it from look-alikes: a filter of the logger that keeps one id out; everything fell silent together; a
reset that was asked for
What to try: leave the module powered and listen for it for some minutes; ask it again with {wake} to its own
address; check its supply, ground, fuse and line
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the last answer and the requests behind it. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.breaks.silence import Silent
from analysis.checks.looking.company import keys_in_company
from analysis.checks.looking.silent_erases import fell_silent_at_erase
from analysis.checks.looking.silent_links import fell_silent, last_words, unanswered
from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Severity
from canlog.counting import counted


@check("silence-module-first", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    told = keys_in_company(ctx)
    for story in fell_silent(ctx, Silent.MODULE):
        if story.link.key in told or fell_silent_at_erase(ctx, story):
            continue
        count = len(unanswered(ctx, story))
        text = f"{story.label} answered, then no more; {counted(count, 'request')} in these captures found no answer."
        yield Seen(Confidence.HIGH, last_words(ctx, story), text)
