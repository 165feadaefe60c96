"""Modules that fell silent together: one finding for all of them."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.breaks.company import Company, silent_with
from analysis.breaks.silence import Silent
from analysis.checks.looking.silent_links import fell_silent
from analysis.checks.registry import Context


def in_company(ctx: Context, who: Silent) -> Iterator[Company]:
    """Each branch, or each line on which the tester is alone, once."""
    told: set[str] = set()
    for story in fell_silent(ctx, Silent.MODULE):
        company = silent_with(story, ctx.record)
        keys = {one.link.key for one in company.stories}
        if company.who is who and not keys & told:
            told |= keys
            yield company


def keys_in_company(ctx: Context) -> set[str]:
    """The links that such a finding speaks of."""
    both = (*in_company(ctx, Silent.BRANCH), *in_company(ctx, Silent.ALL_BUT_TESTER))
    return {story.link.key for company in both for story in company.stories}
