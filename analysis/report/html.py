"""The report as one HTML file that needs nothing else: the words of the text report, a picture, steps and frames."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files
from typing import NamedTuple

from analysis.report import answer_text, evidence_text
from analysis.report.again import Again
from analysis.report.contract import ReportDict
from analysis.report.html_page import HtmlPage, anchor, safe
from analysis.report.texts import say


class StepRow(NamedTuple):
    """One exchange in words, or a run of like ones folded (``folded`` of them)."""

    number: int
    capture: int
    seconds: str
    who: str
    told: str
    outcome: str
    first_line: int
    last_line: int
    request: str
    response: str
    folded: int = 0


class FrameRow(NamedTuple):
    """One frame of the evidence."""

    capture: int
    line: int
    seconds: str
    channel: str
    can_id: str
    data: str
    step: int = 0  # the number of its step on the page


class Extras(NamedTuple):
    """What the contract does not hold: steps in words, frames, the picture (SVG)."""

    steps: Sequence[StepRow]
    frames: Sequence[FrameRow]
    frames_left_out: int
    picture: str
    picture_text: str


def render_html(report: ReportDict, extras: Extras, again: Again | None = None) -> str:
    """A whole HTML document."""
    page = HtmlPage(frozenset((row.capture, row.line) for row in extras.frames))
    for section in (*answer_text.SECTIONS, *answer_text.DETAILS):
        section(page, report)
    for section in evidence_text.SECTIONS:
        if section is evidence_text.timeline and extras.picture:
            page.heading(say("the-session-in-one-picture.heading"))
            page.raw(
                f'<figure tabindex="0">{extras.picture}<figcaption>{safe(extras.picture_text)}</figcaption></figure>'
            )
        section(page, report)
    _provenance(page, report)
    _sign_off(page)
    _steps(page, extras)
    _frames(page, extras)
    evidence_text.how_to_see_more(page, report, again)
    title = safe(report["verdict"]["headline"])
    style = files("analysis.report").joinpath("report.css").read_text(encoding="utf-8")
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
        f"<title>{title}</title>\n<style>\n{style}</style>\n</head>\n<body>\n<main>\n{page}\n</main>\n</body>\n</html>\n"
    )


def step_anchor(number: int) -> str:
    """The id of a step."""
    return f"step{number}"


def _steps(page: HtmlPage, extras: Extras) -> None:
    if not extras.steps:
        return
    page.heading(say("step-by-step.heading"), say("steps.count", count=len(extras.steps)))
    page.text(say("steps.about"))
    frames = {(row.capture, row.line) for row in extras.frames}
    page.raw('<div class="steps">')
    for row in extras.steps:
        is_one = row.first_line == row.last_line
        where = say("steps.line" if is_one else "steps.lines", first=row.first_line, last=row.last_line)
        line = (
            f'<span class="time">{safe(row.seconds)}</span> <span class="who">{safe(row.who)}</span> '
            f'<span class="told">{safe(row.told)}</span>'
        )
        if row.folded:
            page.raw(f'<p class="fold">{line}</p>')
            continue
        place = (row.capture, row.first_line)
        link = f'<a href="#{anchor(*place)}">{where}</a>' if place in frames else where
        page.raw(
            f'<details id="{step_anchor(row.number)}" class="{safe(row.outcome)}"><summary>{line}</summary>'
            f"<p>{link}</p><pre>{safe(row.request or '-')}\n{safe(row.response or '-')}</pre></details>"
        )
    page.raw("</div>")


def _frames(page: HtmlPage, extras: Extras) -> None:
    if not extras.frames:
        return
    page.heading(say("frames-of-the-evidence.heading"), say("frames.count", count=len(extras.frames)))
    page.text(say("frames.about"))
    if extras.frames_left_out:
        page.text(say("frames.left-out", count=extras.frames_left_out))
    rows = "".join(
        f'<tr id="{anchor(row.capture, row.line)}"><td>{_to_step(row)}</td><td>{safe(row.seconds)}</td>'
        f"<td>{safe(row.channel)}</td><td>{safe(row.can_id)}</td><td>{safe(row.data)}</td></tr>"
        for row in extras.frames
    )
    head = "".join(
        f'<th scope="col">{safe(say(key))}</th>'
        for key in ("frames.line", "frames.time", "frames.channel", "frames.id", "frames.data")
    )
    page.raw(
        '<div class="wide" tabindex="0"><table class="frames"><thead><tr>'
        f"{head}</tr></thead>"
        f"<tbody>{rows}</tbody></table></div>"
    )


def _to_step(row: FrameRow) -> str:
    return f'<a href="#{step_anchor(row.step)}">{row.line}</a>' if row.step else str(row.line)


def _provenance(page: HtmlPage, report: ReportDict) -> None:
    page.heading(say("how-this-was-made.heading"))
    made_by = report["made_by"]
    limits = ", ".join(made_by["limits_changed"]) or say("made.no-limits")
    page.text(say("made.by", version=made_by["version"], limits=limits))
    for capture in report["captures"]:
        said = say("made.capture", name=capture["name"], format=capture["format"], digest=capture["sha256"])
        page.text(said, mark="- ")
    if made_by["job_sha256"]:
        page.text(say("made.sheet", digest=made_by["job_sha256"]), mark="- ")
    for digest in made_by["names_sha256"]:
        page.text(say("made.names", digest=digest), mark="- ")
    page.text(say("made.caution"))


def _sign_off(page: HtmlPage) -> None:
    """For paper alone: what a person adds by hand, before the sheets that only a doubt makes one read."""
    page.heading(say("notes.heading"))
    rows = "".join(f"<dt>{safe(say(key))}</dt><dd></dd>" for key in ("sign.vehicle", "sign.name", "sign.date"))
    page.raw(f'<div class="notes"></div><dl class="sign">{rows}</dl>')
