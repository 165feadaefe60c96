"""Two sessions side by side, as text and as HTML."""

from __future__ import annotations

from itertools import zip_longest

from analysis.report.html_page import safe
from analysis.report.lines import Lines, short_hex
from analysis.walk.as_html import document, step_html
from analysis.walk.audience import Audience
from analysis.walk.beside import Beside, Side
from analysis.walk.content import content_of, settles
from analysis.walk.frames import frames_of
from analysis.walk.lesson import Stop
from analysis.walk.steps import Step

ASK = "Where do the two sessions part, and what does each module say there?"
BEHIND = "Behind it, what would you do with each vehicle?"
#: From so many columns on two sessions stand beside each other.
LEAST_FOR_TWO = 100
BETWEEN = "  |  "
ALIKE = "The sessions do not part: every step of both is there, answered alike."


def beside_text(found: Beside, names: tuple[str, str], width: int, audience: Audience, *, color: bool) -> str:
    """One side beside the other, in a narrow terminal below it; the answer for the trainer only."""
    page = Lines(width, color=color)
    page.heading("Two sessions at the place where they part")
    if found.parting is None:
        page.text(ALIKE)
        return str(page)
    page.text(ASK, mark="Question 1: ", colour="strong")
    if audience is Audience.TRAINER:
        page.text(_answer(found), mark="Answer: ", colour="good")
    page.text(BEHIND, mark="Question 2: ", colour="strong")
    sides = (("good", names[0], found.good), ("bad", names[1], found.bad))
    if width < LEAST_FOR_TWO:
        return str(page) + "".join(str(_told(*one, width, audience, color=color)) for one in sides)
    half = (width - len(BETWEEN)) // 2
    left, right = (str(_told(*one, half, audience, color=False)).splitlines() for one in sides)
    rows = (f"{one:<{half}}{BETWEEN}{other}".rstrip() for one, other in zip_longest(left, right, fillvalue=""))
    return str(page) + "\n".join(rows) + "\n"


def _told(kind: str, name: str, side: Side, width: int, audience: Audience, *, color: bool) -> Lines:
    """One side, as a column."""
    page = Lines(width, color=color)
    page.heading(f"{_called(kind, audience)} session", "", kind if audience is Audience.TRAINER else "plain")
    page.text(side.walk.masks.text(name), colour="dim")
    for step in side.steps:
        _step(page, side, step, audience)
    return page


def _step(page: Lines, side: Side, step: Step, audience: Audience) -> None:
    mark = f"{'> ' if step is side.parts_at and audience is Audience.TRAINER else ''}step {step.number}  "
    page.text(f"{step.who}, {short_hex(step.told)} ({step.where})", mark=mark)
    if audience is Audience.TRAINER and step is side.parts_at:
        page.text(settles(content_of(side.walk, step)), indent=4)


def _heading(side: str, one: Side, name: str, audience: Audience) -> str:
    """Names of files often tell how a session went: they are for the trainer."""
    called = _called(side, audience)
    return f"{called}: {safe(one.walk.masks.text(name))}" if audience is Audience.TRAINER else f"{called} recording"


def _called(kind: str, audience: Audience) -> str:
    """Which of the two went well the class is to find."""
    return kind if audience is Audience.TRAINER else {"good": "first", "bad": "second"}[kind]


def _answer(found: Beside) -> str:
    return f"good: {_place(found.good)}; bad: {_place(found.bad)}"


def _place(side: Side) -> str:
    told = short_hex(side.told)
    return f"step {side.parts_at.number}, {told}" if side.parts_at is not None else told


def beside_html(found: Beside, names: tuple[str, str], audience: Audience) -> str:
    """A page with two columns."""
    title = "Two sessions at the place where they part"
    if found.parting is None:
        return document(title, f"<h1>{title}</h1><p>{ALIKE}</p>", turns=False)
    opened = " open" if audience is Audience.TRAINER else ""
    answer = f"<details{opened}><summary>Answer</summary>{safe(_answer(found))}</details>"
    room = '<div class="line"></div>' * 2
    columns = "".join(
        f"<div><h2>{_heading(side, one, name, audience)}</h2>{_column(one, side, audience)}</div>"
        for side, name, one in (("good", names[0], found.good), ("bad", names[1], found.bad))
    )
    named = " judged" if audience is Audience.TRAINER else ""
    asked = (
        f'<div class="asks"><p><small>1</small>{ASK}</p>{room if audience is Audience.SHEET else answer}'
        f"<p><small>2</small>{BEHIND}</p>{room if audience is Audience.SHEET else ''}</div>"
    )
    return document(title, f'<h1>{title}</h1>{asked}<div class="pair{named}">{columns}</div>', turns=False)


def _column(side: Side, name: str, audience: Audience) -> str:
    frames = frames_of(side.walk, side.steps)
    return "".join(
        step_html(
            Stop(step, ()), content_of(side.walk, step), frames.get(step.number, ()), audience,
            f"{name}-{step.number}", is_open=False,
        )
        for step in side.steps
    )  # fmt: skip
