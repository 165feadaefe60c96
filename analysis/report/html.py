"""The report as one HTML file that needs nothing else: the words of the text report, a picture, steps and frames."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files
from typing import NamedTuple

from analysis.report import answer_text, evidence_text
from analysis.report.again import Again
from analysis.report.contract import ReportDict
from analysis.report.html_page import HtmlPage, anchor, safe


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
            page.heading("The session in one picture")
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
    page.heading("Step by step", f"{len(extras.steps):,} rows")
    page.text("Each request with its answer, in order, tester present left out. Open one to see its bytes.")
    frames = {(row.capture, row.line) for row in extras.frames}
    page.raw('<div class="steps">')
    for row in extras.steps:
        is_one = row.first_line == row.last_line
        where = f"line {row.first_line}" if is_one else f"lines {row.first_line}-{row.last_line}"
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
    page.heading("Frames of the evidence", f"{len(extras.frames):,} frames")
    page.text("A line number leads back to its step.")
    if extras.frames_left_out:
        page.text(f"{extras.frames_left_out:,} more lie between these; `canlog list --level frames` has them all.")
    rows = "".join(
        f'<tr id="{anchor(row.capture, row.line)}"><td>{_to_step(row)}</td><td>{safe(row.seconds)}</td>'
        f"<td>{safe(row.channel)}</td><td>{safe(row.can_id)}</td><td>{safe(row.data)}</td></tr>"
        for row in extras.frames
    )
    page.raw(
        '<div class="wide" tabindex="0"><table class="frames"><thead><tr>'
        '<th scope="col">line</th><th scope="col">time</th>'
        '<th scope="col">channel</th><th scope="col">id</th><th scope="col">data</th></tr></thead>'
        f"<tbody>{rows}</tbody></table></div>"
    )


def _to_step(row: FrameRow) -> str:
    return f'<a href="#{step_anchor(row.step)}">{row.line}</a>' if row.step else str(row.line)


def _provenance(page: HtmlPage, report: ReportDict) -> None:
    page.heading("How this was made")
    made_by = report["made_by"]
    page.text(f"canlog {made_by['version']}; limits changed: {', '.join(made_by['limits_changed']) or 'none'}")
    for capture in report["captures"]:
        page.text(f"{capture['name']} ({capture['format']}): SHA-256 {capture['sha256']}", mark="- ")
    if made_by["job_sha256"]:
        page.text(f"job sheet: SHA-256 {made_by['job_sha256']}", mark="- ")
    for digest in made_by["names_sha256"]:
        page.text(f"names: SHA-256 {digest}", mark="- ")
    page.text(
        "This report is evidence, not permission. The vehicle maker's service information, local rules and licences "
        "come first."
    )


def _sign_off(page: HtmlPage) -> None:
    """For paper alone: what a person adds by hand, before the sheets that only a doubt makes one read."""
    page.heading("Notes")
    page.raw(
        '<div class="notes"></div><dl class="sign"><dt>Vehicle, order</dt><dd></dd><dt>Name</dt><dd></dd>'
        "<dt>Date, signature</dt><dd></dd></dl>"
    )
