"""What is made of the captures of a job besides its report, inside the child process: walk, comparison, copies, rows.

Each maker returns the whole of one file.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from analysis.job import analyse
from analysis.report.model import Report
from analysis.serve.task import Task
from canlog.errors import CanlogError

Maker = Callable[[Task], bytes]


def _good(task: Task) -> Report:
    return analyse(task.captures, job=task.sheet, names=task.names)


def _other(task: Task) -> Report:
    return analyse(task.other_captures, names=task.other_names)


def _walk(task: Task) -> bytes:
    from analysis.walk.as_html import walk_html
    from analysis.walk.audience import Audience
    from analysis.walk.lesson import whole_session
    from analysis.walk.steps import walk_through

    walk = walk_through(_good(task))
    if not walk.steps:
        raise CanlogError("no step to walk through", hint="the report says what the recording holds")
    page = walk_html(walk, whole_session(walk), Audience(task.kind.removeprefix("walk-")))
    return page.encode("utf-8", "replace")


def _beside(task: Task) -> bytes:
    from analysis.walk.audience import Audience
    from analysis.walk.beside import beside
    from analysis.walk.beside_pages import beside_html

    audience = Audience(task.kind.removeprefix("beside-"))
    names = Path(task.captures[0]).name, Path(task.other_captures[0]).name
    return beside_html(beside(_good(task), _other(task)), names, audience).encode("utf-8", "replace")


def _comparison(task: Task) -> bytes:
    """Only the part of a page between its head and its foot."""
    from analysis.compare.page import tell_comparison
    from analysis.compare.sessions import compare
    from analysis.report.html_page import HtmlPage

    page = HtmlPage()
    good, bad = (", ".join(Path(one).name for one in paths) for paths in (task.captures, task.other_captures))
    tell_comparison(page, compare(_good(task), _other(task)), good, bad)
    return str(page).encode("utf-8", "replace")


def _exchanges(task: Task) -> bytes:
    from analysis.commands.listing import Request, list_exchanges
    from analysis.commands.rows import write_csv

    stream = io.BytesIO()
    write_csv(list_exchanges(Request(task.captures, names=task.names)), stream)
    return stream.getvalue()


def _trims(task: Task) -> bytes:
    from analysis.sheet.jobsheet import load_job_sheet
    from analysis.trims.page import COLUMNS, rows
    from analysis.trims.sheet import trim_sheets

    text = io.StringIO()
    sheet = load_job_sheet(task.sheet) if task.sheet else None
    csv.writer(text).writerows([COLUMNS, *rows(trim_sheets(_good(task), sheet))])
    return text.getvalue().encode("utf-8", "replace")


def _redacted(task: Task) -> bytes:
    """All captures, sheet and names of our form replaced alike, and the list of what was replaced, in one archive."""
    from analysis.redact.redact import redact

    copy = redact(list(task.captures), task.sheet, task.names)
    entries = [*zip(copy.names, copy.captures, strict=True), ("replaced.csv", copy.list_csv())]
    if copy.sheet is not None:
        entries.append(("sheet.toml", copy.sheet.encode("utf-8", "replace")))
    named = zip(copy.names_names, copy.names_files, strict=True)
    entries += [(name, text.encode("utf-8", "replace")) for name, text in named if text is not None]
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, (_, data) in zip(_apart([name for name, _ in entries]), entries, strict=True):
            archive.writestr(name, data)
    return stream.getvalue()


def _apart(names: Sequence[str]) -> list[str]:
    """Names of files, with their place in front where one would stand twice."""
    if len(set(names)) == len(names):
        return list(names)
    return [f"{number}-{name}" for number, name in enumerate(names, start=1)]


#: By the kind of a task; what a visitor may ask for is a key of this table and nothing else.
MAKERS: Final[dict[str, Maker]] = {
    "walk-class": _walk,
    "walk-trainer": _walk,
    "walk-sheet": _walk,
    "beside-class": _beside,
    "beside-trainer": _beside,
    "compare": _comparison,
    "exchanges": _exchanges,
    "trims": _trims,
    "redacted": _redacted,
}
