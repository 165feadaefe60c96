"""What ``canlog walk`` does with its options."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from analysis import analyse
from analysis.commands.writing import whole_file
from analysis.report.model import Report
from analysis.walk.as_html import walk_html
from analysis.walk.as_text import pages_of, render_walk
from analysis.walk.audience import Audience
from analysis.walk.beside import beside
from analysis.walk.beside_pages import beside_html, beside_text
from analysis.walk.keys import Pages, walk_by_keys
from analysis.walk.lesson import load_lesson, whole_session
from analysis.walk.plant import plant, truth_toml
from analysis.walk.steps import Walk, walk_through
from canlog.capture.source import Progress
from canlog.errors import CanlogError

Write = Callable[[str], None]
ReadKey = Callable[[], str]
#: Shows the page once the progress line is gone.
Show = Callable[[Write, ReadKey], None]


class Wishes(NamedTuple):
    """The options."""

    captures: Sequence[str]
    job: str | None
    names: Sequence[str]
    links: Sequence[str]
    columns: str
    lesson: str | None
    audience: Audience
    html: str | None
    secrets: bool
    beside: str | None
    plant: str | None
    output: str | None
    width: int
    height: int
    color: bool
    by_keys: bool


def walk_or_plant(wishes: Wishes, progress: Progress | None) -> Show:
    """Do the work; what is handed back prints.

    Raises:
        CanlogError: options that do not go together, or input that cannot be used.
    """
    if (wishes.plant is None) != (wishes.output is None):
        raise CanlogError("--plant and --output go together", hint="e.g. --plant silence --output exercise.log")
    only_one = "--plant" if wishes.plant is not None else "--beside" if wishes.beside is not None else ""
    if only_one and len(wishes.captures) > 1:
        raise CanlogError(f"{only_one} takes one capture", hint="name the good one first")
    report = _analysed(wishes, wishes.captures, progress)
    walk = walk_through(report, secrets=wishes.secrets)
    if not walk.steps:
        raise CanlogError(
            f"{wishes.captures[0]}: no step to walk through", hint="`canlog report` says what the capture holds"
        )
    if wishes.plant is not None and wishes.output is not None:
        return _plant(wishes, walk, wishes.plant, wishes.output)
    if wishes.beside is not None:
        return _beside(wishes, report, wishes.beside, progress)
    return _walk(wishes, walk)


def _analysed(wishes: Wishes, captures: Sequence[str], progress: Progress | None) -> Report:
    return analyse(
        captures, wishes.job, wishes.names, wishes.links, columns=wishes.columns, progress=progress
    )  # fmt: skip


def _plant(wishes: Wishes, walk: Walk, kind: str, output: str) -> Show:
    planted, text = plant(walk, kind)
    with whole_file(output) as stream:
        stream.write(text)
    if output == "-":
        return _quiet
    spoilt = _analysed(wishes, [output], None)
    before = {one.id for one in walk.report.findings}
    new = sorted({one.id for one in spoilt.findings} - before)
    headline = spoilt.to_dict()["verdict"]["headline"]
    truth = f"{output}.truth.toml"
    with whole_file(truth) as stream:
        stream.write(truth_toml(planted, wishes.captures[0], headline, new).encode("utf-8", "replace"))
    return lambda write, _: write(f"{output}: one fault planted; what it is stands in {truth}\n")


def _beside(wishes: Wishes, good: Report, bad: str, progress: Progress | None) -> Show:
    found = beside(good, _analysed(wishes, [bad], progress), secrets=wishes.secrets)
    names = wishes.captures[0], bad
    if wishes.html is not None:
        return _written(wishes.html, beside_html(found, names, wishes.audience))
    page = beside_text(found, names, wishes.width, wishes.audience, color=wishes.color)
    return lambda write, _: write(page)


def _walk(wishes: Wishes, walk: Walk) -> Show:
    lesson = load_lesson(wishes.lesson, walk) if wishes.lesson is not None else whole_session(walk)
    if wishes.html is not None:
        return _written(wishes.html, walk_html(walk, lesson, wishes.audience))
    look = {"color": wishes.color}
    if wishes.by_keys and wishes.audience is Audience.CLASS:
        kinds = Audience.CLOSED, Audience.OPENED
        closed, opened = (list(pages_of(walk, lesson, wishes.width, kind, **look)) for kind in kinds)
        pages = Pages(closed, opened, [stop.step.number for stop in lesson.stops], wishes.width, wishes.height)
        return lambda write, read_key: walk_by_keys(pages, read_key, write)
    page = render_walk(walk, lesson, wishes.width, wishes.audience, **look)
    return lambda write, _: write(page)


def _written(file: str, page: str) -> Show:
    with whole_file(file) as stream:
        stream.write(page.encode("utf-8", "replace"))
    return _quiet


def _quiet(write: Write, read_key: ReadKey) -> None:
    """Everything was written to a file."""
