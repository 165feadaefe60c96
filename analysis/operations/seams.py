"""A transfer that goes on behind something that could have ended it: what that leaves open.

A recorder that begins a new file in the middle of a transfer loses nothing, or next to nothing. Two recordings whose
clocks say a date and meet within the time that a session outlives are taken for one; where the time between is not
known or longer, what lies there was recorded by nobody, and only a check by the module itself speaks for the whole.
Source: S3 5 s, ISO 14229-2 (M); the rest is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from analysis.operations.attempts import Attempt, Seam, attempts_of
from analysis.record import Record
from canlog.counting import lasting
from canlog.frames import TimeKind


class SaidOfSeam(NamedTuple):
    """What a seam leaves open, and whether it leaves the account open."""

    text: str
    is_open: bool


def said_of_seams(attempt: Attempt, record: Record) -> Iterator[SaidOfSeam]:
    """Of each seam of an attempt, in order."""
    for seam in attempt.seams:
        where = f"line {seam.behind.lines[0]}"
        if seam.before.capture == seam.behind.capture:
            yield SaidOfSeam(f"{seam.why}, and the transfer went on all the same ({where})", is_open=True)
            continue
        pause = _pause_ns(seam, record)
        goes_on = f"it goes on in capture {seam.behind.capture} ({where})"
        if pause is None:
            yield SaidOfSeam(f"{goes_on}; how long after is not known", is_open=True)
        else:
            is_open = pause > record.limits.s3_server_ns
            yield SaidOfSeam(f"{goes_on}, {lasting(pause)} after the step before", is_open=is_open)


def beginnings_elsewhere(record: Record) -> set[int]:
    """Numbers of the steps that a transfer goes on with in another capture: its beginning is in the one before."""
    attempts = (attempt for story in record.stories for attempt in attempts_of(story, record))
    return {seam.behind.number for attempt in attempts for seam in attempt.seams}


def _pause_ns(seam: Seam, record: Record) -> int | None:
    captures = (record.capture(step.capture) for step in (seam.before, seam.behind))
    if any(one.survey.summary.time_kind is not TimeKind.ABSOLUTE for one in captures):
        return None
    pause = seam.behind.begin_ns - seam.before.end_ns
    return pause if pause >= 0 else None
