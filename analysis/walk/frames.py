"""The raw frames of a step, for the page: its ids only, the middle of long messages left out, seeds and keys masked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from analysis.commands.listing import SecretFrames, frame_rows
from analysis.walk.steps import Step, Walk
from canlog.frames import TimeKind
from canlog.services.traits import Act

#: Frames shown of one step, from its begin and from its end.
AT_BEGIN, AT_END = 7, 3
TENTH_OF_MS_NS = 100_000


class RawFrame(NamedTuple):
    """One frame as recorded; ``left_out`` frames stand between it and the one before."""

    line: int
    at: str  # seconds from the begin of the capture, in tenths of ms; empty without a clock
    can_id: str
    data: str
    left_out: int = 0


def frames_of(walk: Walk, steps: Sequence[Step], *, secrets: bool = False) -> Mapping[int, list[RawFrame]]:
    """The frames of steps, by number of the step. Of a run of blocks those of its first block."""
    found: dict[int, list[RawFrame]] = {}
    for record in walk.report.record.captures:
        own = [step for step in steps if step.first.capture == record.number]
        spans = {step.number: _span(step) for step in own}
        if not spans:
            continue
        has_time = record.survey.summary.time_kind is not TimeKind.NONE
        secret = SecretFrames(() if secrets else record.messages, hides_packets=not secrets)
        wanted = np.unique(np.concatenate([np.arange(first, last + 1) for first, last in spans.values()]))
        start = record.survey.summary.first_time_ns or 0
        rows: dict[int, RawFrame] = {}
        for table in record.capture.chunks():
            hit = np.isin(table.line, wanted)
            for row in frame_rows(record.number, table.take(hit), has_time=has_time, secret=secret):
                at = _seconds(row["time_ns"] - start) if has_time else ""
                rows[row["line"]] = RawFrame(row["line"], at, row["can_id"], row["data"])
        for step in own:
            found[step.number] = _shortened(step, spans[step.number], rows)
    return found


def _span(step: Step) -> tuple[int, int]:
    return step.first.lines if step.act is Act.BLOCK else step.lines


def _shortened(step: Step, span: tuple[int, int], rows: Mapping[int, RawFrame]) -> list[RawFrame]:
    ids = {text for one in step.exchanges for text in (one.link.request_text, one.link.response_text)}
    if step.first.request is not None:
        ids.add(step.first.request.link.request_text)
    own = [rows[line] for line in range(span[0], span[1] + 1) if line in rows and rows[line].can_id in ids]
    between = len(own) - AT_BEGIN - AT_END
    if between <= 1:
        return own
    return [*own[:AT_BEGIN], own[-AT_END]._replace(left_out=between), *own[1 - AT_END :]]


def _seconds(time_ns: int) -> str:
    tenths = time_ns // TENTH_OF_MS_NS
    return f"{'-' if tenths < 0 else ''}{abs(tenths) // 10_000}.{abs(tenths) % 10_000:04d}"
