"""What is told of one step, whatever the medium: sent, came back, meaning, reason, risks, what was found here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from analysis.checks.registry import Check
from analysis.checks.runner import load_checks
from analysis.exchanges import Answer, Exchange
from analysis.walk.fields import ByteRow, byte_rows
from analysis.walk.reasons import Reason, reason_for
from analysis.walk.steps import Step, Walk
from canlog.counting import counted

#: Exchanges of a folded step that are listed before the rest is counted.
MOST_LISTED = 400
MOST_RISKS = 3


@dataclass(frozen=True, slots=True)
class Content:
    """A step, told."""

    step: Step
    asked: str  # in words, without what came back
    came_back: str
    sent: list[ByteRow]
    received: list[ByteRow]
    waited: str
    reason: Reason
    risks: list[Check]
    members: list[str]  # the exchanges of a folded step, one line each
    found: list[tuple[str, str]]  # heading and id of each finding that rests on it


def content_of(walk: Walk, step: Step) -> Content:
    """Everything about a step."""
    shown = next((one for one in step.exchanges if one.answered), step.first)
    asked, _, came_back = step.told.partition(": ")
    reason = reason_for(step.act)
    checks = _checks()
    return Content(
        step=step,
        asked=asked,
        came_back=came_back,
        sent=byte_rows(shown.ask, walk.masks.of(shown.request)) if shown.asked else [],
        received=byte_rows(shown.answer, walk.masks.of(shown.response)) if shown.answered else [],
        waited=f"{counted(len(shown.pendings), 'time')} 7F {shown.service:02X} 78 came first: the module asks to wait"
        if shown.pendings
        else "",
        reason=reason,
        risks=[checks[one] for one in reason.risks if one in checks][:MOST_RISKS],
        members=_members(walk, step),
        found=_found(walk, step),
    )


def settles(content: Content) -> str:
    """What the answer that came settles."""
    step = content.step
    outcomes = {one.outcome for one in step.exchanges}
    if outcomes == {Answer.POSITIVE}:
        return content.reason.settles
    if Answer.NEGATIVE in outcomes and any(one.pendings for one in step.exchanges):
        return "The module took it up, asked to wait, and then refused: the work may be half done."
    if Answer.NEGATIVE in outcomes:
        return "The module refused; the code names the reason. A refusal at once most likely changed nothing."
    if Answer.INCOMPLETE in outcomes:
        return "Part of this step is not in the recording, so nobody can say how it ended."
    if outcomes == {Answer.SUPPRESSED}:
        return "No answer was wanted, so silence is as it should be; it proves nothing either."
    return "No answer came: the module, the wire, the gateway or the recording. The next steps must tell which."


@lru_cache(maxsize=1)
def _checks() -> Mapping[str, Check]:
    return load_checks()


def _members(walk: Walk, step: Step) -> list[str]:
    if len(step.exchanges) == 1:
        return []
    lines = [_member(walk, step, one) for one in step.exchanges[:MOST_LISTED]]
    more = len(step.exchanges) - MOST_LISTED
    return [*lines, f"and {counted(more, 'more', 'more')}"] if more > 0 else lines


def _member(walk: Walk, step: Step, one: Exchange) -> str:
    who = f"{walk.labels.get(one.link.key) or one.link.key.partition(':')[2]}: " if step.to_all else ""
    first, last = one.lines
    return f"{who}{walk.tell(one)} ({f'line {first}' if first == last else f'lines {first}-{last}'})"


def _found(walk: Walk, step: Step) -> list[tuple[str, str]]:
    """Findings that rest on lines of this step."""
    return [
        (walk.masks.text(finding.heading), finding.id)
        for finding in walk.report.findings
        if any(_touches(step, item.capture, item.lines[0]) for item in finding.evidence)
    ]


def _touches(step: Step, capture: int, line: int) -> bool:
    return any(one.capture == capture and one.lines[0] <= line <= one.lines[1] for one in step.exchanges)
