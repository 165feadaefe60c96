"""The HTML report of a job: gathers what the contract does not hold, the steps in words and the evidence frames."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

import numpy as np

from analysis.commands.listing import SecretFrames, frame_rows
from analysis.exchange_words import tell
from analysis.exchanges import Answer, Exchange
from analysis.record import CaptureRecord
from analysis.report.again import Again
from analysis.report.as_json import shown_data
from analysis.report.contract import ReportDict
from analysis.report.html import Extras, FrameRow, StepRow, render_html, step_anchor
from analysis.report.model import Report
from analysis.report.picture import draw_timeline
from analysis.report.texts import say
from analysis.report.wording import seconds
from canlog.frames import TimeKind
from canlog.services.traits import Act

#: Frames of one piece of evidence that are shown from its begin and from its end.
FROM_EACH_END = 24
#: Frames on one page.
MOST_FRAMES = 4_000
#: Blocks in a row from which on only the first and the last are told.
FOLD_FROM = 4
#: Steps on one page.
MOST_STEPS = 3_000


def html_of(report: Report, again: Again | None = None, *, data: ReportDict | None = None) -> str:
    """One HTML document that needs no network; ``data`` is the report as a dict, where the caller has it already."""
    data = data if data is not None else report.to_dict()
    steps = _steps(report, data)
    frames, left_out = _frames(report, data)
    picture, text = draw_timeline(data, _targets(report, steps))
    return render_html(data, Extras(steps, _beside_steps(frames, steps), left_out, picture, text), again)


def _targets(report: Report, steps: Sequence[StepRow]) -> dict[int, str]:
    """Where a mark of the picture leads, by operation: its first step on the page."""
    shown = {row.number for row in steps if not row.folded}
    return {
        item.number: step_anchor(first)
        for item in report.operations
        if (first := next((one for one in item.exchanges if one in shown), None)) is not None
    }


def _beside_steps(frames: Sequence[FrameRow], steps: Sequence[StepRow]) -> list[FrameRow]:
    """Each frame with the step that it belongs to: the shortest one over its line."""
    places = [(row.capture, row.line) for row in frames]
    found: dict[int, StepRow] = {}
    for step in steps:
        if step.folded:
            continue
        first = bisect_left(places, (step.capture, step.first_line))
        behind = bisect_left(places, (step.capture, step.last_line + 1))
        for at in range(first, behind):
            if at not in found or _length(step) < _length(found[at]):
                found[at] = step
    return [row._replace(step=found[at].number) if at in found else row for at, row in enumerate(frames)]


def _length(step: StepRow) -> int:
    return step.last_line - step.first_line


# steps


def _steps(report: Report, data: ReportDict) -> list[StepRow]:
    labels = {story.link.key: story.label for story in report.record.stories if story.named}
    starts = {item["number"]: item["first_time_ns"] for item in data["captures"]}
    outcomes = {item["number"]: item["outcome"] for item in data["exchanges"]}
    channels = {one.link.channel for one in report.record.exchanges}

    def row(one: Exchange) -> StepRow:
        start = starts[one.capture]
        key = one.link.key if len(channels) > 1 else one.link.key.partition(":")[2]
        return StepRow(
            one.number, one.capture, seconds(one.begin_ns, start) if start is not None else "",
            labels.get(one.link.key) or (say("steps.all-modules", link=key) if one.link.functional else key),
            tell(one, labels.get(one.link.key, ""), report.record),
            outcomes[one.number], *one.lines,
            shown_data(one.asked, one.service), shown_data(one.answered, one.service),
        )  # fmt: skip

    rows: list[StepRow] = []
    told = (one for one in report.record.exchanges if not _only_keeps_alive(one))
    for folds, group in groupby(told, key=_folds):
        run = list(group)
        if folds is None or len(run) < FOLD_FROM:
            rows += map(row, run)
            continue
        between = run[1:-1]
        rows.append(row(run[0]))
        rows.append(row(between[0])._replace(told=_folded(between), folded=len(between)))
        rows.append(row(run[-1]))
    return rows[:MOST_STEPS]


def _folds(exchange: Exchange) -> tuple[str, str, str] | None:
    """Equal for exchanges that may be told in one line: accepted blocks of a transfer."""
    is_alike = exchange.act is Act.BLOCK and exchange.positive
    return (exchange.link.key, exchange.act.value, exchange.outcome.value) if is_alike else None


def _only_keeps_alive(exchange: Exchange) -> bool:
    """Tester present that went well, or wanted no answer: hundreds of them, and nothing to learn."""
    return exchange.act is Act.TESTER_PRESENT and exchange.outcome in (Answer.POSITIVE, Answer.SUPPRESSED)


def _folded(run: Sequence[Exchange]) -> str:
    return say("steps.folded", count=len(run), first=run[0].lines[0], last=run[-1].lines[1])


# frames


def _frames(report: Report, data: ReportDict) -> tuple[list[FrameRow], int]:
    """The frames that the evidence names, of the ids that its modules use."""
    found: list[FrameRow] = []
    left_out = 0
    for record in report.record.captures:
        spans, missing = _shortened(_spans(data, record.number))
        left_out += missing
        found += list(_of_capture(record, spans))
    return found[:MOST_FRAMES], left_out + max(len(found) - MOST_FRAMES, 0)


def _spans(data: ReportDict, capture: int) -> list[tuple[int, int]]:
    """First and last line of every piece of evidence, and of the first and last block of each download."""
    evidence: list[tuple[int, Sequence[int]]] = []
    for holder in (*data["modules"], *data["expectations"], *data["findings"]):
        evidence += [(item["capture"], item["lines"]) for item in holder["evidence"]]
    for operation in data["operations"]:
        evidence += [(item["capture"], item["lines"]) for item in operation["proof"]]
    if data["post_mortem"] is not None:
        for item in (data["post_mortem"]["last_good"], data["post_mortem"]["first_bad"]):
            evidence += [(item["capture"], item["lines"])] if item is not None else []
    spans = [(lines[0], lines[-1]) for number, lines in evidence if number == capture and lines]
    blocks = [item for item in data["exchanges"] if item["capture"] == capture and item["request"].startswith("36")]
    for _, group in groupby(blocks, key=lambda item: item["link"]):
        run = list(group)
        spans += [(item["lines"][0], item["lines"][1]) for item in (run[0], run[-1])]
    return sorted(set(spans))


def _shortened(spans: Iterable[tuple[int, int]]) -> tuple[list[tuple[int, int]], int]:
    """Long spans by their ends; and how many lines that leaves out."""
    short: list[tuple[int, int]] = []
    left_out = 0
    for first, last in spans:
        if last - first < 2 * FROM_EACH_END:
            short.append((first, last))
        else:
            short += [(first, first + FROM_EACH_END - 1), (last - FROM_EACH_END + 1, last)]
            left_out += last - first + 1 - 2 * FROM_EACH_END
    return short, left_out


def _of_capture(record: CaptureRecord, spans: Sequence[tuple[int, int]]) -> Iterator[FrameRow]:
    if not spans:
        return
    wanted = np.unique(np.concatenate([np.arange(first, last + 1) for first, last in spans]))
    ids = {one for link in record.messages.links for one in (link.request_id, link.response_id) if one is not None}
    named = {item[0] for item in spans} | {item[1] for item in spans}
    start = record.survey.summary.first_time_ns or 0
    has_time = record.survey.summary.time_kind is not TimeKind.NONE
    secret = SecretFrames(record.messages)
    for table in record.capture.chunks():
        at = np.searchsorted(wanted, table.line)
        hit = (at < len(wanted)) & (wanted[np.minimum(at, len(wanted) - 1)] == table.line)
        if not hit.any():
            continue
        for row in frame_rows(record.number, table.take(hit), has_time=has_time, secret=secret):
            if int(row["can_id"], 16) in ids or row["line"] in named or row["kind"] != "data":
                time = seconds(row["time_ns"], start) if row["time_ns"] is not None else ""
                yield FrameRow(record.number, row["line"], time, row["channel"], row["can_id"], row["data"])
