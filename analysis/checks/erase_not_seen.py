"""A download without an erase before it.

What is seen: a download was accepted in a session seen from its begin, and no routine and no wait stand in front of
it.
What it can mean: The module may erase when it takes the request up; the memory may be working memory, for a helper
program.
How to tell it from look-alikes: an erase in front of the capture; a routine of the maker's own that erases
What to try: nothing, if the download is proved
Caution: none
Evidence: the request. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import attempts, place_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.attempts import Attempt
from analysis.operations.model import Kind, evidence
from analysis.story import Story
from analysis.words import Confidence, Severity
from canlog.services.dialects import UDS
from canlog.services.traits import Act


@check("erase-not-seen", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    drivers = {item.begin for item in ctx.operations if item.kind is Kind.DOWNLOAD and item.details["driver"]}
    for story, attempt, replaced in attempts(ctx):
        request = attempt.request
        if request is None or not request.positive or request.dialect != UDS or attempt.kind is not Kind.DOWNLOAD:
            continue
        if replaced or attempt.begin in drivers or request.pendings or _may_be_erased(story, attempt):
            continue
        text = f"{place_of(story, attempt)}: no erase is seen before it."
        yield Seen(Confidence.MEDIUM, (evidence(request, "the request, without an erase before it"),), text)


def _may_be_erased(story: Story, attempt: Attempt) -> bool:
    """Any routine in front of it may be the maker's erase; a session that began unseen may hold one."""
    exchanges = attempt.exchanges
    last = exchanges[-1].begin
    is_routine_before = any(item.act is Act.ROUTINE and item.begin < last for item in story.own)
    return is_routine_before or story.before(exchanges[0]).session is None
