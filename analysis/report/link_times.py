"""The times of one link as plain data, as the contract says."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.record import CaptureRecord, Record
from analysis.report import contract as c
from analysis.timing import Wait, share
from canlog.frames import TimeKind
from canlog.isotp.messages import Message
from canlog.isotp.timing import stamp_step_ns, transport_times


def link_times(key: str, messages: Sequence[Message], item: CaptureRecord, record: Record) -> c.TimingDict:
    """The times of a link in one capture; ``messages`` are those of this link, in order of completion."""
    has_clock = item.survey.summary.time_kind is not TimeKind.NONE
    transport = transport_times(messages if has_clock else ())
    times = record.answer_times(item.number, key)
    lengths = sorted(wait.length_ns for wait in times.answers)
    slowest = max(times.answers, key=_length, default=None)
    slowest_behind = max(times.pendings, key=_length, default=None)
    promise = times.promises[-1] if times.promises else None
    return {
        "stamp_step_ns": stamp_step_ns(messages) if has_clock else 0,
        "answers": len(lengths),
        "p2_min_ns": lengths[0] if lengths else None,
        "p2_median_ns": share(lengths, 50) if lengths else None,
        "p2_95_ns": share(lengths, 95) if lengths else None,
        "p2_max_ns": slowest.length_ns if slowest else None,
        "p2_max_lines": list(slowest.lines) if slowest else [],
        "pendings": len(times.pendings),
        "p2_star_max_ns": slowest_behind.length_ns if slowest_behind else None,
        "p2_star_max_lines": list(slowest_behind.lines) if slowest_behind else [],
        "p2_announced_ns": promise.p2_ns if promise else None,
        "p2_star_announced_ns": promise.p2_star_ns if promise else None,
        "announced_lines": list(promise.lines) if promise else [],
        "late_answers": sum(1 for _ in times.late),
        "longest_gap_ns": transport.longest_gap_ns,
        "longest_gap_lines": list(transport.longest_gap_lines or ()),
        "separation_asked_ns": transport.separation_asked_ns,
        "n_bs_passed_lines": list(transport.n_bs_passed),
        "n_cr_passed_lines": list(transport.n_cr_passed),
    }


def _length(wait: Wait) -> int:
    return wait.length_ns
