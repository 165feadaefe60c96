"""``canlog trims``: every value of a single unit."""

from __future__ import annotations

from collections.abc import Sequence

import click

from analysis.commands.options import CAPTURES, COLUMNS, NAMES, check_inputs, link_option
from analysis.commands.terminal import new_page, progress_line


@click.command()
@CAPTURES
@click.option("--job", metavar="SHEET", help="Job sheet (TOML): its links and labels are taken as well.")
@NAMES
@link_option("Take these two ids as tester and module, whatever the traffic shows")
@COLUMNS
@click.option("--csv", "csv_file", metavar="FILE", help="Write the values as CSV as well; - prints it instead.")
def trims(
    captures: Sequence[str], job: str | None, names: Sequence[str], links: Sequence[str], columns: str,
    csv_file: str | None,
) -> None:  # fmt: skip
    """Write down every value of a single unit: what was read, copied, written, and whether it arrived."""
    check_inputs(captures, [*captures, *names, *([job] if job else [])], csv_file)
    import csv
    import io

    from analysis import analyse
    from analysis.commands.writing import whole_file
    from analysis.sheet.jobsheet import load_job_sheet
    from analysis.trims.page import COLUMNS, rows, tell_trims
    from analysis.trims.sheet import trim_sheets

    with progress_line() as progress:
        found = analyse(captures, job=job, names=names, links=links, columns=columns, progress=progress)
    sheets = trim_sheets(found, load_job_sheet(job) if job is not None else None)
    if csv_file is not None:
        text = io.StringIO()
        csv.writer(text).writerows([COLUMNS, *rows(sheets)])
        with whole_file(csv_file) as stream:
            stream.write(text.getvalue().encode("utf-8", "replace"))
    if csv_file != "-":
        page = new_page()
        tell_trims(page, sheets, len(found.record.captures))
        click.echo(str(page), nl=False, color=True)
