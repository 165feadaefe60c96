"""A whole branch fell silent.

What is seen: two or more modules answered before, and none of them from one moment on, while the tester and other ids
of the same channel went on.
What it can mean: The gateway in front of them stopped passing messages on; a fuse or a supply that they share; a plug
or the wiring of their branch.
How to tell it from look-alikes: one module that is silent; modules that fell silent one after the other, some of which
still answered behind the first; everything fell silent together
What to try: check what these modules share before any one of them: fuse, supply, ground, gateway and wiring; ask each
of them with {alive} again
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: of each module the last answer and the requests behind it. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.breaks.silence import Silent
from analysis.checks.looking.company import in_company
from analysis.checks.looking.silent_links import last_words
from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Severity


@check("silence-branch", severity=Severity.SERIOUS, comes_first=True)
def find(ctx: Context) -> Iterator[Seen]:
    for company in in_company(ctx, Silent.BRANCH):
        names = ", ".join(story.label for story in company.stories)
        shown = tuple(one for story in company.stories for one in last_words(ctx, story))
        text = f"{names} answered, then no more from one moment on; others on the same channel went on."
        yield Seen(Confidence.MEDIUM, shown, text)
