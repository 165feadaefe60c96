"""An output was controlled by the tester.

What is seen: an order to control an output (2F; KWP2000 also 30, GMW3110 AE) was accepted. Whether control was given
back is shown only by an accepted return, by the default session or by a restart behind it.
What it can mean: A part was tried out, or held still, and the recording ends too early; or the return was refused or
forgotten. In most modules control ends by itself when the session falls back.
How to tell it from look-alikes: an order that only asks for the state of an output; an order that was refused
What to try: cycle the ignition, or return control of the output, as the service information says
Caution: a controlled part can move, heat or stay without power. Keep clear of moving parts until control is given
back. The vehicle maker's service information decides.
Evidence: the order. Source: ISO 14229-1:2020, 13.2 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.operations.model import evidence
from analysis.outputs import controlled_outputs
from analysis.words import Confidence, Severity


@check("output-controlled", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        for one in controlled_outputs(story):
            ending = "and given back" if one.is_released else "whether it was released is not shown"
            yield Seen(
                Confidence.HIGH,
                (evidence(one.order, f"{one.text} was accepted"),),
                f"{story.label}: an output was controlled ({one.text}), {ending}.",
                severity=Severity.NOTE if one.is_released else None,
                is_over=one.is_released,
            )
