"""Sentences that every form of the walk uses."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import cast

from analysis.report.contract import PartDict
from analysis.report.wording import WORD
from analysis.walk.steps import Walk

KEPT_ALIVE = (
    "Left out: tester present, {count}. It is the tester's knock that keeps a session open, and no answer to it "
    "is needed."
)
SAFETY = (
    "Practise writing on bench modules or simulators, never on a customer's vehicle. High voltage and airbags are for "
    "those licensed for them. The vehicle maker's service information comes first."
)


def verdict_lines(walk: Walk) -> Iterator[str]:
    """What became of the job: for the trainer only."""
    data = walk.report.to_dict()
    yield walk.masks.text(data["verdict"]["headline"])
    parts = cast(Mapping[str, PartDict], data["verdict"]["parts"])
    for name, part in parts.items():
        because = f": {part['because'][0]}" if part["because"] else ""
        yield walk.masks.text(f"{name.replace('_', ' ')}: {WORD.get(part['word'], part['word'])}{because}")
