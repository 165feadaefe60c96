"""A software identification reads blank after programming.

What is seen: behind a download and its restart, the last reading of a software or calibration identification is FF,
00 or blanks throughout.
What it can mean: The part that holds it was erased and not programmed; the wrong part or file was programmed; the
module fills it in later.
How to tell it from look-alikes: a field that the module never uses and that was blank before as well; a calibration
verification number, which may only not be ready
What to try: read it again after an ignition cycle; compare the parts programmed with those that the file set holds
Caution: do not program again only because of this; the vehicle maker's service information decides.
Evidence: the reading. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.calibrations import CVN
from analysis.checks.looking.transfers import programmed
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.readings import said_identifiers
from analysis.words import Confidence, Severity
from canlog.names.blank import is_fill


@check("identity-blank", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        around = programmed(ctx, story)
        if around is None:
            continue
        told = [
            one
            for one in ctx.record.readings(story)
            if one.place > around.restart and one.tells_software and one.identifier != CVN
            if not story.is_boot_loader(one.exchange)
        ]
        blank = {number: one for number, one in {one.identifier: one for one in told}.items() if is_fill(one.raw)}
        if blank:
            shown = tuple(
                evidence(one.exchange, f"{one.title} reads {one.raw.hex().upper()}") for one in blank.values()
            )
            text = f"{story.label}: {said_identifiers(blank)} reads blank after programming."
            yield Seen(Confidence.HIGH, shown, text)
