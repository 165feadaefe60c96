"""The modules do not agree on the VIN.

What is seen: two or more modules said different VINs, and nothing tells which is the vehicle's; or a VIN was written
that differs from the VIN of the module where values of the same job came from, which weighs more.
What it can mean: One module was replaced; a vehicle built in several stages; a module that holds no VIN of its own.
How to tell it from look-alikes: readings from before the VIN was written
What to try: compare with the plate on the vehicle; give a job sheet with the VIN
Caution: a VIN is protected by law in many places, and some modules take it only once. The vehicle maker's service
information decides.
Evidence: the readings. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.unit_values import lines_of, writes_of, written
from analysis.checks.looking.vins import expected_vin, last_vins
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import Part, evidence
from analysis.story import Story
from analysis.vins import LastVin, last_vin
from analysis.words import Confidence, Severity, Word
from canlog.names.vin import check_vin


@check("vin-disagrees", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    against_source = list(_against_source(ctx))
    yield from against_source
    said = last_vins(ctx)
    if against_source or expected_vin(ctx) or len({item.text for item in said}) < 2:
        return
    text = "; ".join(f"{item.story.label} says {item.text}" for item in said)
    shown = tuple(evidence(item.reading.exchange, f"{item.story.label} says {item.text}") for item in said)
    yield Seen(Confidence.HIGH, shown, f"{text}.", severity=Severity.WARNING)


def _against_source(ctx: Context) -> Iterator[Seen]:
    """VINs written into modules whose values came from a module that says another VIN.

    Where the vehicle's VIN is known, a module that says another one is told as such; a write not read since is not.
    """
    right = expected_vin(ctx)
    read_since = {item.story.link.key for item in last_vins(ctx)}
    for story in ctx.stories:
        for write in writes_of(ctx, story, Part.VIN):
            vin = check_vin(written(write))
            if write.outcome.word is Word.FAILED or not vin.well_formed:
                continue
            for source in _sources(ctx, story):
                is_told = right and (source.text != right or vin.text == right or story.link.key in read_since)
                if source.text != vin.text and not is_told:
                    text = f"{story.label} was given {vin.text}; {source.story.label}, the source of its values, says "
                    shown = (
                        lines_of(write, ctx, f"{vin.text} was written"),
                        evidence(source.reading.exchange, f"{source.story.label} says {source.text}"),
                    )
                    yield Seen(Confidence.HIGH, shown, f"{text}{source.text}.")


def _sources(ctx: Context, story: Story) -> Iterator[LastVin]:
    """The VINs of the other modules that values of this one were copied from."""
    keys = {str(one.details["source_link"]) for one in writes_of(ctx, story) if one.details["source_link"]}
    for other in ctx.stories:
        said = last_vin(other, ctx.record) if other is not story and other.link.key in keys else None
        if said is not None and check_vin(said.text).well_formed:
            yield said
