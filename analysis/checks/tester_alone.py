"""The tester is alone on the line.

What is seen: two or more modules answered before and none of them from one moment on; every id that came by itself is
gone with them, and only the tester goes on.
What it can mean: The line or the diagnostic plug was interrupted between the tester and the vehicle; the vehicle lost
its supply or ignition; the gateway closed the diagnostic connection.
How to tell it from look-alikes: one module that is silent: then others go on; a recorder that keeps only what the
tester sends: then nothing else stands in front of it either
What to try: check the diagnostic plug and the line to it, then the supply and the ignition, before any new attempt
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the last frames of the others, and what the tester asked behind them. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.breaks.silence import Silent
from analysis.checks.looking.company import in_company
from analysis.checks.looking.silent_links import last_words
from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import counted

#: As many of the ids that stopped are shown.
SHOWN_IDS = 3


@check("tester-alone", severity=Severity.SERIOUS, comes_first=True)
def find(ctx: Context) -> Iterator[Seen]:
    for company in in_company(ctx, Silent.ALL_BUT_TESTER):
        story = company.stories[0]
        shown = [
            Evidence(ctx.own(story)[-1].capture, (each.last_line,), f"the last frame of {each.can_id:03X}")
            for each in company.stopped[:SHOWN_IDS]
        ]
        names = ", ".join(one.label for one in company.stories)
        text = (
            f"{names} and {counted(len(company.stopped), 'id')} that came by "
            f"{'itself' if len(company.stopped) == 1 else 'themselves'} fell silent together; the tester went on."
        )
        yield Seen(Confidence.MEDIUM, (*shown, *last_words(ctx, story)), text)
