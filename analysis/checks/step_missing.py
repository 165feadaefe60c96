"""A step is missing in the record.

What is seen: a step without an answer, or without the one that must come before it, and the module accepted what
comes behind.
What it can mean: The logger lost frames without a note of it; frames were taken out of the file; rarely a module
that leaves an answer out.
How to tell it from look-alikes: a tester that asks again because no answer came: then the same step stands there
twice; a capture that begins inside a step; a module that is silent from there on
What to try: record again with a filter on the diagnostic ids, where a word is not confirmed
Caution: none
Evidence: the step beside the gap. Source: ISO 14229-1:2020, 14 and 15 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import wrong_echoes
from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.trust.missing_steps import Missing
from analysis.words import Confidence, Severity


@check("step-missing", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    labels = {story.link.key: story.label for story in ctx.stories}
    places: dict[tuple[int, str], list[Missing]] = {}
    told = {one.number for story in ctx.stories for pair in wrong_echoes(ctx, story) for one in pair}
    for step in ctx.record.missing_steps:
        if step.exchange.number in told:
            continue
        places.setdefault((step.exchange.capture, step.exchange.link.key), []).append(step)
    for (_, key), steps in places.items():
        shown = tuple(evidence(step.exchange, step.text) for step in steps)
        yield Seen(Confidence.HIGH, shown, f"{labels.get(key, key)}: {steps[0].text}.")
