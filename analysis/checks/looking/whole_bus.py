"""The bus as a whole: when no id at all was heard."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context
from analysis.exchanges import Answer, Exchange
from analysis.limits import SECOND_NS
from analysis.record import CaptureRecord
from canlog.background import Gap

#: An id that belongs to no link was heard in each of so many seconds before it.
STEADY_SECONDS = 3


def cut_by_silence(ctx: Context) -> Iterator[tuple[Exchange, Gap]]:
    """Requests left open because the whole bus fell silent, with that silence."""
    for capture in ctx.record.captures:
        left = [
            one
            for one in ctx.record.exchanges
            if one.capture == capture.number and one.outcome in (Answer.SILENT, Answer.INCOMPLETE)
        ]
        patience = ctx.record.limits.p2_star_client_ns
        for gap in (gap for gap in capture.silences if _was_talked_over(capture, gap)):
            yield from ((one, gap) for one in left if 0 <= gap.from_ns - one.begin_ns < patience)


def _was_talked_over(capture: CaptureRecord, gap: Gap) -> bool:
    """Somebody talked steadily until then whom no tester asks: else a pause of the tester would be a silent bus."""
    links = {one for link in capture.messages.links for one in (link.request_id, link.response_id)}
    last = gap.from_ns // SECOND_NS
    due = range(last - STEADY_SECONDS + 1, last + 1)
    return any(
        each.can_id not in links and set(due) <= set(each.seconds.tolist())
        for each in capture.survey.background.traffic
    )
