"""Trim values look factory-empty.

What is seen: after the job the values are the default: empty memory, one byte throughout, or one value for all units.
What it can mean: They were never written, or the write went elsewhere. Rarely: a set that is truly neutral.
How to tell it from look-alikes: values read before the job from a new module, which are normal; neutral by intent:
the label says so; equal values that the job sheet gives, or that were read before
What to try: write the values of the labels or of the old module; read them after an ignition cycle
Caution: a trim belongs to one part in one place. Depending on the part, a wrong one can damage engine or gearbox, or
move the vehicle the wrong way. Compare with the label on the part before the engine is started.
Evidence: the values. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import parts
from analysis.checks.looking.unit_values import UnitValue, runs, values_now
from analysis.checks.looking.wiped import wiped_values
from analysis.checks.registry import Context, Seen, check
from analysis.readings import said_identifiers
from analysis.story import Story
from analysis.words import Confidence, Severity, Word

#: Records shorter than this are alike by chance.
LONG_ENOUGH = 4


@check("trims-default", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        wiped = {one.identifier for one in wiped_values(ctx, story)}  # those were good: more than a default left
        values = [
            item
            for item in values_now(ctx, story)
            if item.kind in ("", "trim") and item.identifier not in wiped and _was_due(ctx, story, item)
        ]
        empty = {item.identifier: item for item in values if _is_empty(item)}
        for run in runs(values):
            is_alike = len(run) > 2 and len({item.value for item in run}) == 1 and len(run[0].value) >= LONG_ENOUGH
            if is_alike and not all(_is_asked(ctx, story, item) for item in run):
                empty |= {item.identifier: item for item in run}
        yield from _flat(ctx, story, [item for item in values if item.identifier not in empty])
        if empty:
            names = said_identifiers(empty)
            shown = tuple(empty[identifier].evidence for identifier in sorted(empty))
            sure = Confidence.HIGH if any(_is_named(item) for item in empty.values()) else Confidence.MEDIUM
            held = all(_was_held(item) for item in empty.values())
            text = "are all equal, as they were read before" if held else "hold a default"
            yield Seen(sure, shown, f"{story.label}: {names} {text}.", severity=Severity.WARNING if held else None)


def _flat(ctx: Context, story: Story, values: list[UnitValue]) -> Iterator[Seen]:
    """Records of one byte throughout: a neutral value may look like that, so less sure than erased memory."""
    flat = {
        item.identifier: item
        for item in values
        if len(item.value) >= LONG_ENOUGH and len(set(item.value)) == 1
        and not _is_asked(ctx, story, item) and not _was_the_same(item)
    }  # fmt: skip
    if flat:
        shown = tuple(flat[identifier].evidence for identifier in sorted(flat))
        verb = "is" if len(flat) == 1 else "are"
        text = f"{story.label}: {said_identifiers(flat)} {verb} one byte throughout: a default, or truly neutral."
        yield Seen(Confidence.LOW, shown, text, severity=Severity.WARNING)


def _is_asked(ctx: Context, story: Story, item: UnitValue) -> bool:
    asked = ctx.sheet.module(story.label) if ctx.sheet is not None else None
    return asked is not None and (item.identifier, item.value) in {(one.identifier, one.value) for one in asked.trims}


def _was_held(item: UnitValue) -> bool:
    """The module held it before, or another one did: equal values may be meant, though that may be a default too."""
    details = item.write.details if item.write is not None else {}
    is_copy = details.get("source_link") is not None and details.get("written") == item.value.hex().upper()
    return not _is_empty(item) and (is_copy or _was_the_same(item))


def _was_the_same(item: UnitValue) -> bool:
    """The module told this value before it was written again."""
    return item.write is not None and item.write.details.get("before") == item.value.hex().upper()


def _is_named(item: UnitValue) -> bool:
    return item.name is not None and item.name.is_default(item.value)


def _is_empty(item: UnitValue) -> bool:
    body = item.value[LONG_ENOUGH:] if len(item.value) > 3 * LONG_ENOUGH else item.value
    return _is_named(item) or (len(body) > 1 and set(body) == {0xFF})


def _was_due(ctx: Context, story: Story, item: UnitValue) -> bool:
    """The value stands behind something done: a write of it that seemed good, or a download that ended."""
    if item.write is not None:
        return item.write.outcome.word in (Word.CONFIRMED, Word.UNPROVEN)
    done = [part for part in parts(ctx, story) if part.details["ended"]]
    first_line = (item.evidence.capture, item.evidence.lines[0])
    return any(first_line > part.end for part in done)
