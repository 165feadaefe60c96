"""A names file or a link that was given fits nothing in the recording.

What is seen: modules were spoken to, and none of those that a names file describes is among them; or nothing was
said on a link that was given by hand.
What it can mean: The names are of another vehicle; a digit of a link was typed wrong; the module was not asked in this
recording.
How to tell it from look-alikes: names that hold for every module: they need no link; a module that was asked and
never answered
What to try: check the names file and the links that were given against the links that were heard
Caution: without the right names a status or a value keeps its number, and nothing is taken for good. The vehicle
maker's service information decides.
Evidence: the first exchange of each module that was heard. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.words import Confidence, Severity
from canlog.names.tables import ModuleName


@check("given-fits-nothing", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    heard = {story.link.key for story in ctx.stories}
    texts = [f"no module of {Path(one).name} is in the recording" for one in _idle_files(ctx, heard)]
    texts += [f"nothing was said on the link {one}" for one in _idle_links(ctx)]
    if texts and ctx.stories:
        shown = tuple(evidence(ctx.own(story)[0], f"heard on {story.link.key}") for story in ctx.stories)
        text = "; ".join(texts)
        yield Seen(Confidence.HIGH, shown, f"{text[:1].upper()}{text[1:]}.")


def _idle_files(ctx: Context, heard: set[str]) -> list[str]:
    """Names files that give links, none of which was heard."""
    tied = [one for one in ctx.record.names.modules if one.file and one.link_key]
    used = {one.file for one in tied if any(_is_on(one, key) for key in heard)}
    return [file for file in dict.fromkeys(one.file for one in tied) if file not in used]


def _is_on(module: ModuleName, key: str) -> bool:
    channel, _, rest = key.partition(":")
    return module.link_key == rest and module.channel in ("", channel)


def _idle_links(ctx: Context) -> list[str]:
    """Links given by hand on which nothing was asked or answered."""
    spoken = {key for one in ctx.record.exchanges for key in _both(one.link.key)}
    return [one.key.lstrip(":") for one in ctx.record.wanted if one.key.lstrip(":") not in spoken]


def _both(key: str) -> tuple[str, str]:
    """A link with its channel and without."""
    return key, key.partition(":")[2]
