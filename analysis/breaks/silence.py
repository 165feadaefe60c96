"""Who fell silent first: the module, the tester, everything, or only the record.

Times are compared inside the last capture in which the module was spoken to; the post-mortem asks what was known at the
end of that of the break. Source: common practice, no source.
"""

from __future__ import annotations

import sys
from enum import StrEnum

from analysis.exchanges import Answer, Exchange
from analysis.limits import Limits
from analysis.record import Record
from analysis.story import Story
from canlog.doip.reassembly import NEGATIVE_ACKNOWLEDGE
from canlog.isotp.messages import NOT_REACHED
from canlog.survey import Survey

#: Lines that one clause names.
MOST_LINES = 6


class Silent(StrEnum):
    """Who stopped first, as far as the capture tells."""

    MODULE = "module"
    TESTER = "tester"
    BRANCH = "branch"  # several modules at once: see ``company``
    ALL_BUT_TESTER = "all-but-tester"  # the same
    EVERYTHING = "everything"
    NOBODY = "nobody"  # nothing was left open
    CAPTURE_ENDED = "capture-ended"
    UNKNOWN = "unknown"


def who_fell_silent(story: Story, record: Record) -> Silent:
    """Who stopped first towards or from a module; worked out once for all who ask."""
    key = story.link.key
    if key not in record.fell_silent:
        record.fell_silent[key] = _who_fell_silent(story, record)
    return record.fell_silent[key]


def _who_fell_silent(story: Story, record: Record) -> Silent:
    own = [exchange for exchange in story.exchanges if exchange.link.key == story.link.key]
    if not own:
        return Silent.UNKNOWN
    last_capture = own[-1].capture
    if (last_capture, story.link.key) in record.one_way:
        return Silent.UNKNOWN  # whoever was not recorded cannot be said to be silent
    own = [exchange for exchange in own if exchange.capture == last_capture]
    summary = record.capture(last_capture).survey.summary
    if summary.last_time_ns is None:
        return _without_clock(own)
    limits = record.limits
    heard = _last_heard(own)
    asked = max((m.end_ns for item in own for m in item.messages[:1] if item.request is not None), default=None)
    end = summary.last_time_ns
    others = _others_end(story, record, last_capture)
    answered_last = own[-1].outcome in (Answer.POSITIVE, Answer.NEGATIVE, Answer.SUPPRESSED)
    if heard is None:
        if not _asked_in_vain(own):
            return Silent.UNKNOWN
        return Silent.MODULE if end - _first_in_vain(own) > limits.module_silent_ns else Silent.CAPTURE_ENDED
    waited = end - _first_in_vain(own)
    if asked is not None and asked > heard + limits.module_silent_ns and waited > limits.module_silent_ns:
        return Silent.MODULE
    if _asked_in_vain(own) and _all_stopped(record, last_capture, story.link.channel, own[-1].end_ns):
        return Silent.EVERYTHING  # its answer was still due then, and nobody asked again
    if others is not None and _asked_in_vain(own) and others - own[-1].end_ns > _patience(own[-1], limits):
        return Silent.MODULE  # it owes the answer, however soon it was asked behind the one before
    spoken = max(heard, asked or heard)
    if end - spoken < limits.capture_end_ns:
        return Silent.NOBODY if answered_last else Silent.CAPTURE_ENDED
    if _all_stopped(record, last_capture, story.link.channel, spoken):
        return Silent.EVERYTHING
    if others is not None and others - spoken >= limits.tester_silent_ns:
        return Silent.TESTER if not answered_last or _inside_transfer(own) else Silent.NOBODY
    if answered_last and not _inside_transfer(own):
        return Silent.NOBODY
    return Silent.UNKNOWN


def _without_clock(own: list[Exchange]) -> Silent:
    tail = own[-2:]
    if len(tail) == 2 and all(item.outcome is Answer.SILENT for item in tail):
        return Silent.MODULE
    return Silent.NOBODY if own[-1].response is not None else Silent.UNKNOWN


def _last_heard(own: list[Exchange]) -> int | None:
    """Time of the last frame of the module, flow control aside."""
    times = [m.end_ns for item in own for m in (*item.pendings, item.response) if m is not None]
    return max(times, default=None)


def _asked_in_vain(own: list[Exchange]) -> bool:
    """The last requests to it alone that want an answer have none; who is asked with all others may keep silent."""
    return (
        not own[-1].functional
        and own[-1].outcome is Answer.SILENT
        and own[-1].request is not None
        and own[-1].request.was_sent
    )


def _first_in_vain(own: list[Exchange]) -> int:
    """When the first of the last requests in a row that have no answer was sent; the last of all if it has one."""
    last = own[-1]
    for exchange in reversed(own):
        if not _asked_in_vain([exchange]):
            break
        last = exchange
    return last.begin_ns if _asked_in_vain([last]) else sys.maxsize


def _all_stopped(record: Record, capture: int, channel: str, spoken: int) -> bool:
    """Every cyclic id that was on the channel fell silent there, and the capture went on: with or without a return."""
    survey = record.capture(capture).survey
    near = record.limits.neighbourhood_ns
    talking = record.talking
    stops = []
    for traffic in survey.background.traffic:
        if traffic.channel != channel or traffic.can_id in talking or traffic.first_ns > spoken:
            continue
        pause = next((gap for gap in traffic.gaps if gap.from_ns <= spoken + near and gap.to_ns > spoken + near), None)
        silent_from = pause.from_ns if pause is not None else traffic.last_ns
        if silent_from >= spoken - near:
            stops.append(pause is not None or silent_from <= spoken + near)
    return bool(stops) and all(stops) and _went_on(survey, spoken + near)


def _went_on(survey: Survey, time_ns: int) -> bool:
    last = survey.summary.last_time_ns
    return last is not None and last > time_ns


def _patience(exchange: Exchange, limits: Limits) -> int:
    """How long its answer may take."""
    return limits.p2_star_client_ns if exchange.pendings else limits.p2_client_ns


def _inside_transfer(own: list[Exchange]) -> bool:
    """The last thing said belongs to a transfer that was neither ended nor refused: behind a refusal it may stop."""
    return own[-1].service in (0x34, 0x36) and own[-1].outcome is not Answer.NEGATIVE


def _others_end(story: Story, record: Record, capture: int) -> int | None:
    """Last time of any id that is not of this link, on its channel."""
    link = story.link
    mine = {link.request_id} | ({link.response_id} if link.response_id is not None else set())
    return record.capture(capture).survey.background.last_time(mine, link.channel)


def out_of_reach(story: Story) -> tuple[int, ...]:
    """Lines in which a gateway says that it cannot reach the module, of its last requests in a row without an answer.

    Source: the codes of a negative acknowledgement, ISO 13400-2:2019 (M).
    """
    lines: list[int] = []
    for exchange in reversed(story.own):
        request = exchange.request
        if not _asked_in_vain([exchange]) or request is None or request.reason != NOT_REACHED:
            break
        lines += [one.line for one in request.anomalies if one.rule == NEGATIVE_ACKNOWLEDGE]
    return tuple(sorted(lines))


def said_out_of_reach(story: Story) -> str:
    """``the gateway cannot reach PCU (lines 76, 80)``; empty where none says so."""
    lines = out_of_reach(story)
    more = f" and {len(lines) - MOST_LINES} more" if len(lines) > MOST_LINES else ""
    word = "line" if len(lines) == 1 else "lines"
    shown = ", ".join(map(str, lines[:MOST_LINES]))
    return f"the gateway cannot reach {story.label} ({word} {shown}{more})" if lines else ""
