"""``canlog report``: the answer."""

from __future__ import annotations

import json
from collections.abc import Sequence

import click

from analysis.commands.options import CAPTURES, COLUMNS, NAMES, check_inputs, link_option
from analysis.commands.terminal import new_page, progress_line

NOT_CONFIRMED = 1


@click.command()
@CAPTURES
@click.option("--job", metavar="SHEET", help="Job sheet (TOML): what was meant to happen.")
@NAMES
@link_option("Take these two ids as tester and module, whatever the traffic shows")
@COLUMNS
@click.option("--json", "json_file", metavar="FILE", help="Write the report as JSON; - prints it instead of the text.")
@click.option("--html", "html_file", metavar="FILE", help="Write the report as one HTML file that needs no network.")
@click.option("--strict", is_flag=True, help="Exit code 1 unless everything is confirmed.")
def report(
    captures: Sequence[str], job: str | None, names: Sequence[str], links: Sequence[str], columns: str,
    json_file: str | None, html_file: str | None, strict: bool,
) -> int:  # fmt: skip
    """Say what became of the job, and what the module is now."""
    check_inputs(captures, [*captures, *names, *([job] if job else [])], json_file, html_file)
    from analysis import analyse
    from analysis.commands.writing import whole_file
    from analysis.report.again import Again
    from analysis.report.text import tell_report

    with progress_line() as progress:
        found = analyse(captures, job=job, names=names, links=links, columns=columns, progress=progress)
        data = found.to_dict()
    if json_file is not None:
        with whole_file(json_file) as stream:
            stream.write(json.dumps(data, ensure_ascii=False, indent=1).encode("utf-8", "replace") + b"\n")
    again = Again(captures, links, columns, job, names)
    if html_file is not None:
        from analysis.report.html_gathered import html_of

        with whole_file(html_file) as stream:
            stream.write(html_of(found, again, data=data).encode("utf-8", "replace"))
    if "-" not in (json_file, html_file):
        page = new_page()
        tell_report(page, data, again)
        click.echo(str(page), nl=False, color=True)
    return NOT_CONFIRMED if strict and data["verdict"]["overall"] != "confirmed" else 0
