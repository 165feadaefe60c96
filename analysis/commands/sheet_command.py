"""``canlog sheet``: a job sheet to begin with."""

from __future__ import annotations

from collections.abc import Sequence

import click

from analysis.commands.options import CAPTURES, COLUMNS, NAMES, check_inputs, link_option
from analysis.commands.terminal import progress_line


@click.command("sheet")
@CAPTURES
@NAMES
@link_option("Take these two ids as tester and module, whatever the traffic shows")
@COLUMNS
@click.option("--output", metavar="FILE", default="-", help="Write to this file instead of standard output.")
def fill_sheet(
    captures: Sequence[str], names: Sequence[str], links: Sequence[str], columns: str, output: str
) -> None:  # fmt: skip
    """Fill a job sheet from a capture known to be good, to begin your own with."""
    check_inputs(captures, [*captures, *names], output)
    from analysis import analyse
    from analysis.commands.writing import whole_file
    from analysis.sheet.starter import starter_sheet

    with progress_line() as progress:
        found = analyse(captures, names=names, links=links, columns=columns, progress=progress)
    with whole_file(output) as stream:
        stream.write(starter_sheet(found).encode())
