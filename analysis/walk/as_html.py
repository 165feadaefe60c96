"""The walk as one HTML file that needs no network: one long page, or with the keyboard a step at a time.

The only script is ours, fixed, and allowed by its hash; without it everything is still there.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator, Sequence
from importlib.resources import files

from analysis.exchanges import Answer
from analysis.report.html_page import safe
from analysis.report.lines import short_hex
from analysis.walk.audience import Audience
from analysis.walk.content import Content, content_of, settles
from analysis.walk.fields import ByteRow
from analysis.walk.frames import RawFrame, frames_of
from analysis.walk.lesson import Lesson, Stop
from analysis.walk.question import Question
from analysis.walk.steps import Step, Walk
from analysis.walk.words import KEPT_ALIVE, SAFETY, verdict_lines
from canlog.counting import counted
from canlog.services.traits import Act

#: From so many steps on the line of steps gets a window of its own.
MANY = 60
ANSWER_LINES = 2
#: Kinds of question that the title of a step would answer.
NAMED_IN_HEADING = frozenset({"which-service", "which-identifier", "kind-of-reset"})
HEAD = "<tr><th>line</th><th>s</th><th>id</th><th>bytes</th></tr>"
#: Bytes as text of this length stay on one line.
SHORT = 23


def walk_html(walk: Walk, lesson: Lesson, audience: Audience) -> str:
    """A whole HTML document."""
    title = lesson.title or "The session, step by step"
    parts = [f"<h1>{safe(title)}</h1>", *_opening(walk, lesson, audience)]
    if audience is not Audience.SHEET:
        parts.append(_you_are_here(lesson.stops, audience))
    frames = frames_of(walk, [stop.step for stop in lesson.stops])
    before: tuple[str, ...] = ()
    for place, stop in enumerate(lesson.stops, start=1):
        content = content_of(walk, stop.step)
        told = (content.reason.why, settles(content))
        shown = frames.get(stop.step.number, ())
        parts.append(step_html(stop, content, shown, audience, f"p{place}", again=told == before))
        before = told
    return document(title, "\n".join(parts), turns=audience is not Audience.SHEET)


def document(title: str, body: str, *, turns: bool = True) -> str:
    """The frame of a page; with ``turns`` the script that shows one step at a time."""
    style = _file("analysis.report", "report.css") + _file("analysis.walk", "walk.css")
    script = _file("analysis.walk", "walk.js")
    allowed = f"; script-src '{script_hash()}'" if turns else ""
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n'
        '<meta http-equiv="Content-Security-Policy" '
        f"content=\"default-src 'none'; style-src 'unsafe-inline'{allowed}\">\n"
        f"<title>{safe(title)}</title>\n<style>\n{style}</style>\n</head>\n<body>\n<main>\n{body}\n</main>\n"
        f"{f'<script>{script}</script>' if turns else ''}\n</body>\n</html>\n"
    )


def script_hash() -> str:
    """What a policy allows the script of the page by (Content Security Policy Level 3, hash-source)."""
    script = _file("analysis.walk", "walk.js")
    return f"sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}"


def _file(package: str, name: str) -> str:
    return files(package).joinpath(name).read_text(encoding="utf-8")


def _opening(walk: Walk, lesson: Lesson, audience: Audience) -> Iterator[str]:
    yield '<div class="opening">'
    if audience is Audience.SHEET:
        yield '<p class="whose">Name <span></span> Date <span></span></p>'
    yield f"<p>{counted(len(lesson.stops), 'step')} of {len(walk.steps):,}. {_left_out(walk)}</p>"
    yield f'<p class="caution">{SAFETY}</p>'
    if audience is Audience.TRAINER:
        if lesson.notes:
            yield f'<p class="notes-trainer"><b>Notes:</b> {safe(lesson.notes)}</p>'
        items = "".join(f"<li>{safe(line)}</li>" for line in verdict_lines(walk))
        yield f"<h2>What became of it</h2><ul>{items}</ul>"
    yield "</div>"


def _left_out(walk: Walk) -> str:
    return KEPT_ALIVE.format(count=counted(walk.kept_alive, "time")) if walk.kept_alive else ""


def _you_are_here(stops: Sequence[Stop], audience: Audience) -> str:
    """The whole session on one line."""
    marks = "".join(
        f'<li><a href="#p{place}"{_mood(stop.step, audience)} title="{safe(stop.step.who)}">{stop.step.number}</a></li>'
        for place, stop in enumerate(stops, start=1)
    )
    return (
        f'<nav class="here{" many" if len(stops) > MANY else ""}" aria-label="steps"><ol>{marks}</ol>'
        '<div class="turn"><button type="button" data-by="-1">Back</button>'
        '<button type="button" data-by="1">Next</button><button type="button" data-by="open">Answer</button>'
        "<span>keys: → next, ← back, o answer</span></div></nav>"
    )


def _mood(step: Step, audience: Audience) -> str:
    """What was not accepted is marked for the trainer: the class is to find it."""
    is_fine = all(one.outcome in (Answer.POSITIVE, Answer.SUPPRESSED) for one in step.exchanges)
    return "" if is_fine or audience is not Audience.TRAINER else ' class="bad"'


def step_html(
    stop: Stop, content: Content, frames: Sequence[RawFrame], audience: Audience, name: str, *, again: bool = False,
    is_open: bool = True,
) -> str:  # fmt: skip
    """One step: its frames and questions first, then what it is. ``again``: the step before was of the same act and
    outcome, so that paper need not repeat the reason. ``is_open``: it is told at once where nothing is asked."""
    parts = [f'<section class="step{" again" if again else ""}" id="{name}">', _heading(stop, content, audience)]
    if audience is Audience.TRAINER and stop.notes:
        parts.append(f'<p class="notes-trainer"><b>Notes:</b> {safe(stop.notes)}</p>')
    parts += ['<div class="stage">', _frames(frames), _questions(stop, audience), "</div>"]
    if audience is not Audience.SHEET:
        opened = " open" if audience is Audience.TRAINER or (is_open and not stop.questions) else ""
        parts.append(f'<details class="tell"{opened}><summary>Byte by byte, what it means, and why</summary>')
        parts += [_sides(content), _meaning(content), "</details>", _members(content)]
    if audience is Audience.TRAINER:
        parts += [f'<p class="caution">Found here: {safe(heading)} ({name})</p>' for heading, name in content.found]
    return "\n".join([*filter(None, parts), "</section>"])


def _heading(stop: Stop, content: Content, audience: Audience) -> str:
    step = stop.step
    gives_away = audience is Audience.SHEET or any(one.kind in NAMED_IN_HEADING for one in stop.questions)
    asked = "" if gives_away and audience is not Audience.TRAINER else safe(short_hex(content.asked))
    said = safe(stop.title) or asked
    when = f"at {step.at} s, " if step.at else ""
    sub = f" · {asked}" if stop.title and asked else ""
    return (
        f'<h2><span class="no">Step {step.number}</span> {said}</h2>'
        f'<p class="place"><b>{safe(step.who)}</b>{sub} · {safe(when + step.where)}</p>'
    )


def _frames(frames: Sequence[RawFrame]) -> str:
    rows = ""
    for one in frames:
        if one.left_out:
            rows += f'<tr><td></td><td></td><td></td><td class="place">… {counted(one.left_out, "frame")} …</td></tr>'
        data = " ".join(one.data[at : at + 2] for at in range(0, len(one.data), 2))
        cells = (f"{one.line}", one.at, one.can_id, data)
        rows += f"<tr>{''.join(f'<td>{safe(cell)}</td>' for cell in cells)}</tr>"
    return f'<div class="wide"><table class="frames raw">{HEAD}{rows}</table></div>' if rows else ""


def _sides(content: Content) -> str:
    waited = f'<p class="place">{safe(content.waited)}</p>' if content.waited else ""
    sent = _bytes("Sent", content.sent) or "<h3>Sent</h3><p>not in the recording</p>"
    back = _bytes("Came back", content.received) or "<h3>Came back</h3><p>nothing</p>"
    words = f"<p><b>In words:</b> {safe(short_hex(content.came_back))}</p>" if content.came_back else ""
    return f'<div class="sides"><div>{sent}</div><div>{back}{waited}{words}</div></div>'


def _bytes(title: str, rows: Sequence[ByteRow]) -> str:
    if not rows:
        return ""
    body = "".join(_byte_row(row) for row in rows)
    return f'<h3>{title}</h3><table class="bytes">{body}</table>'


def _byte_row(row: ByteRow) -> str:
    short = ' class="short"' if len(row.octets) <= SHORT else ""
    cells = f'<td class="name">{safe(row.name)}</td><td>{safe(row.says)}</td>'
    return f"<tr><td{short}>{safe(row.octets)}</td>{cells}</tr>"


def _meaning(content: Content) -> str:
    risks = "".join(f"<li>{safe(one.title)} <small>({one.id})</small></li>" for one in content.risks)
    wrong = f"<h3>What could go wrong here</h3><ul>{risks}</ul>" if risks else ""
    if content.step.act is Act.ROUTINE:
        wrong += '<p class="caution">Some routines build pressure or move parts.</p>'
    reason = content.reason
    return (
        f'<div class="sides reason"><div><h3>What it means</h3><p>{safe(settles(content))}</p>'
        f'<h3>Why it is done</h3><p>{safe(reason.why)} <span class="place">({safe(reason.source)})</span></p></div>'
        f"<div>{wrong}</div></div>"
    )


def _members(content: Content) -> str:
    if not content.members:
        return ""
    items = "".join(f"<li>{safe(short_hex(one))}</li>" for one in content.members)
    return f"<details><summary>All {len(content.step.exchanges):,} of this step</summary><ul>{items}</ul></details>"


def _questions(stop: Stop, audience: Audience) -> str:
    if not stop.questions:
        return ""
    asked = "".join(
        f"<p><small>{stop.step.number}.{number}</small>{safe(one.ask)}</p>{_answer(one, audience)}"
        for number, one in enumerate(stop.questions, start=1)
    )
    return f'<div class="asks">{asked}</div>'


def _answer(one: Question, audience: Audience) -> str:
    if audience is Audience.SHEET:
        return '<div class="line"></div>' * ANSWER_LINES
    because = f'<br><span class="because">{safe(one.because)}</span>' if one.because else ""
    wrong = f'<br><span class="because">Often said: {safe(one.wrong)}</span>' if one.wrong else ""
    opened = " open" if audience is Audience.TRAINER else ""
    return f"<details{opened}><summary>Answer</summary>{safe(short_hex(one.answer))}{because}{wrong}</details>"
