"""``canlog list``: what a capture holds, row by row."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import click

from analysis.commands.options import CAPTURES, COLUMNS, NAMES, check_inputs, link_option
from analysis.commands.terminal import new_page, progress_line, terminal_width
from canlog.errors import CanlogError


@click.command("list")
@CAPTURES
@click.option(
    "--level", type=click.Choice(["exchanges", "messages", "frames"]), default="exchanges", show_default=True,
    help="Requests with their answers, rebuilt messages, or raw frames.",
)  # fmt: skip
@link_option("Only this link")
@NAMES
@COLUMNS
@click.option(
    "--format", "form", type=click.Choice(["text", "jsonl", "csv", "parquet"]), default="text", show_default=True,
    help="How to write the rows.",
)  # fmt: skip
@click.option("--output", metavar="FILE", default="-", help="Write to this file instead of standard output.")
@click.option("--secrets", is_flag=True, help="Show seeds, keys and certificates (services 27, 29) unmasked.")
def list_rows(
    captures: Sequence[str],
    level: str,
    links: Sequence[str],
    names: Sequence[str],
    columns: str,
    form: str,
    output: str,
    secrets: bool,
) -> None:
    """List what a capture holds, one row a line."""
    check_inputs(captures, [*captures, *names], output)
    if form == "parquet" and output == "-" and sys.stdout.isatty():
        raise CanlogError("Parquet is not for a terminal", hint="name a file with --output")
    from analysis.commands.listing import LEVELS, Request
    from analysis.commands.rows import WRITERS, CountedRows, write_page
    from analysis.commands.writing import whole_file

    width = terminal_width() if output == "-" else None
    with progress_line() as progress:
        table = LEVELS[level](Request(captures, links, names, secrets, columns, width, progress))
        with whole_file(output) as stream:
            rows = CountedRows(table.rows)
            if form == "text" and output == "-" and sys.stdout.isatty():
                write_page(table._replace(rows=rows), new_page(width), stream, sys.stdout.encoding)
            else:
                WRITERS[form](table._replace(rows=rows), stream)
    if rows.n_rows == 0:
        click.echo(f"no {level} to list; `canlog report` says what the capture holds", err=True)
