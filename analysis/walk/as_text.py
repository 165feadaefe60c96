"""The walk as plain text: a page a step."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.report.lines import Lines, short_hex
from analysis.walk.audience import Audience
from analysis.walk.content import Content, content_of, settles
from analysis.walk.fields import ByteRow
from analysis.walk.frames import RawFrame, frames_of
from analysis.walk.lesson import Lesson, Stop
from analysis.walk.steps import Walk
from analysis.walk.words import KEPT_ALIVE, SAFETY, verdict_lines
from canlog.counting import counted

#: Members of a folded step that a page lists.
MOST_LINES = 12
RULE = "." * 50


def render_walk(walk: Walk, lesson: Lesson, width: int, audience: Audience, *, color: bool) -> str:
    """All pages one below the other."""
    head = Lines(width, color=color)
    head.heading(lesson.title or "The session, step by step", counted(len(lesson.stops), "step"))
    if lesson.notes and audience is Audience.TRAINER:
        head.text(lesson.notes, mark="Notes: ")
    if walk.kept_alive:
        head.text(KEPT_ALIVE.format(count=counted(walk.kept_alive, "time")))
    head.text(SAFETY, colour="caution")
    if audience is Audience.TRAINER:
        for line in verdict_lines(walk):
            head.text(line)
    pages = [str(head), *pages_of(walk, lesson, width, audience, color=color)]
    return "\n".join(pages)


def pages_of(
    walk: Walk, lesson: Lesson, width: int, audience: Audience, *, color: bool
) -> Iterator[str]:  # fmt: skip
    """One page for each stop."""
    frames = frames_of(walk, [stop.step for stop in lesson.stops])
    for stop in lesson.stops:
        page = Lines(width, color=color)
        _page(page, walk, stop, audience, frames.get(stop.step.number, ()))
        yield str(page)


def _page(
    page: Lines, walk: Walk, stop: Stop, audience: Audience, frames: Sequence[RawFrame]
) -> None:  # fmt: skip
    content = content_of(walk, stop.step)
    _heading(page, walk, stop, content, audience)
    if audience is Audience.TRAINER and stop.notes:
        page.text(stop.notes, mark="Notes: ")
    _frames(page, frames)
    if audience.is_told:
        _told(page, content)
    _questions(page, stop, audience)
    if audience is Audience.TRAINER:
        for heading, known_as in content.found:
            page.text(f"{heading} ({known_as})", mark="Found here: ", colour="caution")


def _heading(page: Lines, walk: Walk, stop: Stop, content: Content, audience: Audience) -> None:
    step = stop.step
    title = f"Step {step.number} of {len(walk.steps)}"
    page.heading(f"{title}: {stop.title}" if stop.title else title, step.who)
    if audience.is_told:
        page.text(short_hex(content.asked), colour="strong")
    page.text(", ".join(part for part in (f"at {step.at} s" if step.at else "", step.where) if part), colour="dim")


def _frames(page: Lines, frames: Sequence[RawFrame]) -> None:
    """Line, id and data."""
    number = max((len(f"{one.line}") for one in frames), default=0)
    time = max((len(one.at) for one in frames), default=0)
    for one in frames:
        if one.left_out:
            page.text(f"{'':<{number}}  … {counted(one.left_out, 'frame')} …", indent=4, colour="dim")
        data = " ".join(one.data[at : at + 2] for at in range(0, len(one.data), 2))
        head = f"{one.line:>{number}}  {one.at:>{time}}  {one.can_id}  "
        page.text(f"{head}{data}", indent=4, hang=len(head))


def _told(page: Lines, content: Content) -> None:
    _bytes(page, "Sent", content.sent)
    if content.waited:
        page.text(content.waited, colour="dim")
    _bytes(page, "Came back", content.received)
    if content.came_back:
        page.text(short_hex(content.came_back), mark="In words: ")
    page.text(settles(content), mark="It means: ")
    page.text(f"{content.reason.why} ({content.reason.source})", mark="Why: ")
    if content.risks:
        page.text("; ".join(f"{one.title} ({one.id})" for one in content.risks), mark="Can go wrong: ")
    for line in content.members[:MOST_LINES]:
        page.text(short_hex(line), indent=4, mark="- ")
    if len(content.members) > MOST_LINES:
        page.text(f"and {len(content.members) - MOST_LINES} more; `canlog list` has them all", indent=4, colour="dim")


def _bytes(page: Lines, title: str, rows: list[ByteRow]) -> None:
    if not rows:
        return
    page.text(f"{title}:", colour="strong")
    octets = min(max(len(row.octets) for row in rows), 24)
    name = max(len(row.name) for row in rows)
    for row in rows:
        wide = len(row.octets) > octets
        said = row.name if not row.says else f"{row.name:<{name}}  {row.says}"
        if wide:
            page.text(row.octets, indent=4)
        page.text(f"{'' if wide else row.octets:<{octets}}  {said}".rstrip(), indent=4, hang=octets + 2)


def _questions(page: Lines, stop: Stop, audience: Audience) -> None:
    for number, one in enumerate(stop.questions, start=1):
        page.text(one.ask, mark=f"Question {stop.step.number}.{number}: ", colour="strong", hang=2)
        if audience.is_answered:
            why = f" ({one.because})" if one.because else ""
            page.text(f"{one.answer}{why}", indent=4, mark="Answer: ", colour="good", hang=2)
            if one.wrong:
                page.text(one.wrong, indent=4, mark="Often said: ", hang=2)
        elif audience is Audience.SHEET:
            page.text(RULE[: page.width - 4], indent=4)
